"""The business's own settings."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from people import rows
from people.models import Business, Person


def change(*, changes: Mapping[str, Any], actor: Person | None, now: datetime) -> Business:
    """Change the business's name, units, money or limits. Raises Unacceptable."""
    return rows.put(Business.the(), changes, actor=actor, verb="change business settings", now=now)
