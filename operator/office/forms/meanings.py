"""What an event code means in the business's own words."""

from fleet.sales.models import EventMeaning

from .base import RowForm


class MeaningForm(RowForm):
    model = EventMeaning
    columns = ("about", "words", "urgency", "job")
