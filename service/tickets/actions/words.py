"""The lists of symptoms and causes, and the settings of service work."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fleet.machines.actions.holdings import require_money
from people import rows
from people.models import Person

from ..models import Cause, ServiceSettings, Symptom


def save_symptom(
    *, changes: Mapping[str, Any], actor: Person, now: datetime, symptom: Symptom | None = None
) -> Symptom:
    """Add a symptom or change one; its code stays. Raises Unacceptable."""
    verb = "add symptom" if symptom is None else "change symptom"
    return rows.put(symptom or Symptom(), _plain(changes, symptom), actor=actor, verb=verb, now=now)


def save_cause(
    *, changes: Mapping[str, Any], actor: Person, now: datetime, cause: Cause | None = None
) -> Cause:
    """Add a cause or change one; its code stays. Raises Unacceptable."""
    verb = "add cause" if cause is None else "change cause"
    return rows.put(cause or Cause(), _plain(changes, cause), actor=actor, verb=verb, now=now)


def save_settings(*, changes: Mapping[str, Any], actor: Person, now: datetime) -> ServiceSettings:
    """Change labour, times and limits of service work. Raises Unacceptable."""
    for name, value in changes.items():
        if name in {"labour_per_hour", "refund_amount_contact", "refund_amount_machine"}:
            require_money(value, name)
    return rows.put(
        ServiceSettings.the(), changes, actor=actor, verb="change service settings", now=now
    )


def _plain(changes: Mapping[str, Any], row: Symptom | Cause | None) -> dict[str, Any]:
    """What others know a row by is not changed: findings and history name the code."""
    kept = set() if row is None else {"code"}
    return {name: value for name, value in changes.items() if name not in kept}
