"""Which machines have the decal that a report of tax goes by, as far as duties tell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Q

from fleet.machines.models import Machine
from service.compute.tax.classes import Status

from ..models import DutyDone
from ..models.duties import DutyKind
from ..sums.gathering import Period


def duty_key(state: str) -> str:
    """The key of the duty by which a state's decals in lieu of tax are asked for."""
    return f"{state.lower()}-decal"


@dataclass(frozen=True)
class HeldDecals:
    """A decal of a report: how many machines, what for each, and which have none on record."""

    state: str
    title: str
    citation: str
    checked: str
    machines: int
    each: Decimal
    amount: Decimal
    on_record: int
    without: tuple[Machine, ...]


def held(figures: Mapping[str, Any], period: Period) -> list[HeldDecals]:
    """Decals of a report's figures beside what was written down of them. Two queries.

    A decal is on record where the duty was done and not set aside, before the period ended, and
    reaches into it: until the day on it, else for a year.
    """
    decals: Sequence[Mapping[str, Any]] = figures.get("decals", ())
    of = {int(key) for one in decals for key in one["of"]}
    if not decals:
        return []
    tags = Machine.objects.in_bulk(of)
    year_before = _year_before(period.starts_on)
    done = set(
        DutyDone.objects.filter(
            Q(valid_until__gte=period.starts_on)
            | Q(valid_until__isnull=True, done_on__gt=year_before),
            Q(duty__rule__isnull=True)
            | Q(duty__rule__key__in=[duty_key(one["state"]) for one in decals]),
            duty__kind=DutyKind.DECAL,
            duty__machine__in=of,
            set_aside_at__isnull=True,
            done_on__lt=period.ends_on,
        ).values_list("duty__machine_id", flat=True)
    )
    found = []
    for one in decals:
        keys = [int(key) for key in one["of"]]
        without = sorted(
            (tags[key] for key in keys if key in tags and key not in done),
            key=lambda machine: machine.asset_tag,
        )
        found.append(
            HeldDecals(
                state=one["state"],
                title=one["title"],
                citation=one["citation"],
                checked=Status(one["status"]).words,
                machines=one["machines"],
                each=Decimal(one["each"]),
                amount=Decimal(one["amount"]),
                on_record=sum(key in done for key in keys),
                without=tuple(without),
            )
        )
    return found


def _year_before(day: date) -> date:
    return day.replace(year=day.year - 1, day=min(day.day, 28) if day.month == 2 else day.day)
