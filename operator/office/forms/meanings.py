"""What an event code means in the business's own words."""

from typing import ClassVar

from fleet.sales.models import EventMeaning

from .base import RowForm


class MeaningForm(RowForm):
    model = EventMeaning
    columns = ("words", "about", "urgency", "job")
    labels: ClassVar = {"words": "In plain words", "job": "Work it makes"}
