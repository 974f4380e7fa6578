"""For what a rule asks something: the business, sites or machines that it is for now."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Self

from fleet.machines.models import Machine, Placement, SetUp, Site

from ..models import DutyRule
from ..models.duties import Subject

Key = tuple[int, int | None, int | None]
"""Of a turn: the keys of its rule, of the site and of the machine."""


@dataclass(frozen=True)
class Standing:
    """A machine in service at a host's site, in which state, and whether it holds food that is
    kept cold or hot."""

    machine: int
    site: int
    state: str
    kept: bool


@dataclass(frozen=True)
class Subjects:
    """What the rules ask for, by the machines that stand now."""

    rules: tuple[DutyRule, ...]
    standing: tuple[Standing, ...]

    @classmethod
    def of(cls, rules: Iterable[DutyRule]) -> Self:
        """By where machines in service stand now. Two queries."""
        return cls(tuple(rules), standing_now())

    def keys(self) -> list[Key]:
        """One key for each turn that should be open, unless it has been done for good."""
        return [key for rule in self.rules if rule.active for key in self._of(rule)]

    def _of(self, rule: DutyRule) -> Iterator[Key]:
        here = [
            one
            for one in self.standing
            if rule.state in ("", one.state)
            and (rule.applies_to != DutyRule.AppliesTo.KEPT or one.kept)
        ]
        if not here:
            return
        if rule.subject == Subject.BUSINESS:
            yield rule.pk, None, None
        elif rule.subject == Subject.SITE:
            yield from ((rule.pk, site, None) for site in sorted({one.site for one in here}))
        else:
            yield from ((rule.pk, None, one.machine) for one in here)


def standing_now() -> tuple[Standing, ...]:
    """Machines in service at hosts' sites. Two queries."""
    kept = kept_machines()
    rows = Placement.objects.filter(
        ends_at__isnull=True,
        machine__status=Machine.Status.IN_SERVICE,
        site__purpose=Site.Purpose.HOST,
    ).order_by("machine")
    return tuple(
        Standing(machine, site, state.strip().upper(), machine in kept)
        for machine, site, state in rows.values_list("machine", "site", "site__state")
    )


def kept_machines() -> frozenset[int]:
    """Keys of the machines with a product set up that is kept cold or hot for safety. One query."""
    rows = SetUp.objects.filter(ends_at__isnull=True, product__kept_cold_or_hot=True)
    return frozenset(rows.order_by().values_list("column__machine", flat=True).distinct())


def without_state() -> list[Site]:
    """Sites with machines in service of which the state is not written down: their duties are not
    known."""
    return list(
        Site.objects.filter(
            purpose=Site.Purpose.HOST,
            state="",
            placements__ends_at__isnull=True,
            placements__machine__status=Machine.Status.IN_SERVICE,
        )
        .distinct()
        .order_by("name", "pk")
    )
