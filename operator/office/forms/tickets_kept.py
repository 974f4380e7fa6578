"""What tickets stand on: the words for faults and causes, and the settings of service work."""

from typing import Any

from service.tickets.models import Cause, ServiceSettings, Symptom

from .base import RowForm


class SymptomForm(RowForm):
    model = Symptom
    columns = (
        "code",
        "words",
        "urgency",
        "asks_column",
        "work_minutes",
        "first_checks",
        "cautions",
        "public_words",
        "order",
        "active",
    )
    labels = {
        "code": "Code, for devices",
        "asks_column": "Asks for the selection",
        "work_minutes": "Work at the machine (minutes)",
        "first_checks": "Look at first",
        "order": "Place in the list",
    }

    def __init__(self, *args: Any, row: Symptom | None = None, **kwargs: Any) -> None:
        super().__init__(*args, row=row, **kwargs)
        if row is not None:
            # Findings and devices know it by this.
            self.fields["code"].disabled = True


class CauseForm(RowForm):
    model = Cause
    columns = ("code", "words", "nothing_wrong", "order", "active")
    labels = {
        "code": "Code, for devices",
        "nothing_wrong": "The machine itself was in order",
        "order": "Place in the list",
    }

    def __init__(self, *args: Any, row: Cause | None = None, **kwargs: Any) -> None:
        super().__init__(*args, row=row, **kwargs)
        if row is not None:
            self.fields["code"].disabled = True


class ServiceSettingsForm(RowForm):
    model = ServiceSettings
    columns = (
        "labour_per_hour",
        "reopen_days",
        "repeat_days",
        "keep_contact_days",
        "refund_times_contact",
        "refund_amount_contact",
        "refund_times_machine",
        "refund_amount_machine",
        "warn_before_minutes",
    )
    labels = {
        "labour_per_hour": "Labour an hour",
        "reopen_days": "Opened again counts for (days)",
        "repeat_days": "A repeat counts for (days)",
        "keep_contact_days": "Who reported is kept for (days)",
        "refund_times_contact": "Refunds to one contact",
        "refund_amount_contact": "and together",
        "refund_times_machine": "Refunds at one machine",
        "refund_amount_machine": "and together",
        "warn_before_minutes": "Warned before (working minutes)",
    }
