"""Say how long cash may wait before it is late."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from people.models import Person
from people.rows import put

from ..models import CashLimits


def save_cash_limits(*, changes: Mapping[str, Any], actor: Person, now: datetime) -> CashLimits:
    """Change the days after which cash that waits is late. Raises Unacceptable by field."""
    return put(CashLimits.the(), changes, actor=actor, verb="change limits of cash", now=now)
