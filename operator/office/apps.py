from django.apps import AppConfig


class OfficeConfig(AppConfig):
    name = "office"
    verbose_name = "Desk"
