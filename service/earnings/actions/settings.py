"""What earnings are reckoned with, changed by whoever answers for money."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from people import rows
from people.models import Person

from ..models import EarningsSettings


def change_settings(
    *, changes: Mapping[str, Any], actor: Person, now: datetime
) -> EarningsSettings:
    """Change some of them; every page of earnings holds to them at once. Raises Unacceptable."""
    return rows.put(
        EarningsSettings.the(), changes, actor=actor, verb="change earnings settings", now=now
    )
