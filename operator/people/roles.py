"""The roles of the business. One person may hold several."""

from django.db.models import TextChoices


class Role(TextChoices):
    OWNER = "owner", "owner"
    DISPATCHER = "dispatcher", "dispatcher"
    DRIVER = "driver", "driver (also does repairs)"
    ACCOUNTANT = "accountant", "accountant"
