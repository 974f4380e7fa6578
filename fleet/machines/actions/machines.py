"""Machines: added with their columns, placed at sites, their selections wired to columns."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from people import audit, rows
from people.errors import Unable, Unacceptable
from people.models import Person

from ..models import Column, Kind, Machine, Placement, Selection, Site, WaysOfPaying


@transaction.atomic
def add_machine(
    *,
    kind: Kind,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    selections: Sequence[Mapping[str, Any]] | None = None,
) -> Machine:
    """Add a machine with a column for every position of its kind.

    `selections` are mappings of code, positions (labels), and optionally picture; left out, every
    position gets a selection of its own label. Raises Unacceptable.
    """
    # Locked, or a position that is added to the kind just now would be no column of this machine.
    Kind.objects.select_for_update(no_key=True).get(pk=kind.pk)
    machine = rows.put(Machine(kind=kind), changes, actor=actor, verb="add machine", now=now)
    positions = list(kind.positions.all())
    Column.objects.bulk_create(Column(machine=machine, position=one) for one in positions)
    if selections is None:
        selections = [{"code": one.label, "positions": [one.label]} for one in positions]
    wire_selections(machine=machine, selections=selections, actor=actor, now=now)
    return machine


def change_machine(
    *, machine: Machine, changes: Mapping[str, Any], actor: Person, now: datetime
) -> Machine:
    """Change a machine's tag, serials, status or notes. Its kind stays. Raises Unacceptable."""
    if "kind" in changes and changes["kind"] != machine.kind:
        message = "a machine keeps its kind; add another machine instead"
        raise Unacceptable(message, fields={"kind": message})
    return rows.put(machine, changes, actor=actor, verb="change machine", now=now)


@transaction.atomic
def wire_selections(
    *, machine: Machine, selections: Sequence[Mapping[str, Any]], actor: Person, now: datetime
) -> None:
    """Say which columns each selection draws on. The list is whole. Raises Unacceptable."""
    Machine.objects.select_for_update().get(pk=machine.pk)
    columns = {c.position.label: c for c in machine.columns.select_related("position", "selection")}
    stored = {one.code: one for one in machine.selections.all()}
    before = _wiring(columns, stored.values())
    taken: dict[str, str] = {}
    for index, one in enumerate(selections):
        for label in one["positions"]:
            if label not in columns:
                message = f"there is no position {label!r}; there are {', '.join(columns)}"
                raise Unacceptable(message, fields={f"selections.{index}.positions": message})
            if label in taken:
                message = f"position {label} already belongs to selection {taken[label]}"
                raise Unacceptable(message, fields={f"selections.{index}.positions": message})
            taken[label] = one["code"]
    codes = [one["code"] for one in selections]
    if len(set(codes)) < len(codes):
        message = "a selection's code stands twice"
        raise Unacceptable(message, fields={"selections": message})
    for code in stored.keys() - set(codes):
        stored[code].delete()
    for column in columns.values():
        column.selection = None
    wired = [
        stored.get(one["code"]) or Selection(machine=machine, code=one["code"])
        for one in selections
    ]
    for order, (selection, one) in enumerate(zip(wired, selections, strict=True)):
        selection.order, selection.picture = order, one.get("picture", selection.picture)
        rows.check(selection)
    Selection.objects.bulk_create([one for one in wired if one.pk is None])
    Selection.objects.bulk_update([one for one in wired if one.pk], ["order", "picture"])
    for selection, one in zip(wired, selections, strict=True):
        for label in one["positions"]:
            columns[label].selection = selection
    Column.objects.bulk_update(columns.values(), ["selection"])
    after = _wiring(columns, wired)
    if before != after:
        _touch(machine, now)
        audit.record(
            actor=actor, verb="wire selections", row=machine, now=now, before=before, after=after
        )


@transaction.atomic
def place_machine(
    *,
    machine: Machine,
    site: Site | None,
    starts_at: datetime,
    actor: Person,
    now: datetime,
    spot: str = "",
    reason: str = "",
) -> Placement | None:
    """The machine stands at `site` from `starts_at` on; the placement before ends there. None:
    nowhere.

    Raises Unable when a later placement is already noted, since the past is not rewritten, and
    Unacceptable for a moment to come: what is noted last is where the machine stands now.
    """
    if starts_at > now:
        message = f"{starts_at.isoformat()} is still to come; note the move once it is made"
        raise Unacceptable(message, fields={"starts_at": message})
    Machine.objects.select_for_update().get(pk=machine.pk)
    current = machine.placements.order_by("-starts_at").first()
    if current is not None and current.starts_at >= starts_at:
        raise Unable(
            f"{machine} is already noted at {current.site} "
            f"from {current.starts_at:%Y-%m-%d %H:%M}; a new placement starts after that",
            code="placed_later",
        )
    if current is not None and (current.ends_at is None or current.ends_at > starts_at):
        rows.put(
            current,
            {"ends_at": starts_at},
            actor=actor,
            verb="end placement",
            now=now,
            reason=reason,
        )
    _touch(machine, now)
    if site is None:
        return None
    return rows.put(
        Placement(machine=machine, site=site),
        {"spot": spot, "starts_at": starts_at},
        actor=actor,
        verb="place machine",
        now=now,
        reason=reason,
    )


@transaction.atomic
def set_ways_of_paying(
    *, machine: Machine, takes: str, starts_on: date, actor: Person, now: datetime
) -> WaysOfPaying:
    """The machine takes these ways of paying from a day on, by its site's calendar.

    Said again for the same day it replaces what was said. Raises Unacceptable: what is to come is
    noted once it is so, because tax follows it.
    """
    if starts_on > now.date() + timedelta(days=1):  # somewhere it may be tomorrow already
        message = f"{starts_on} is still to come; note it once the machine takes payment so"
        raise Unacceptable(message, fields={"starts_on": message})
    Machine.objects.select_for_update().get(pk=machine.pk)
    said = machine.ways_of_paying.filter(starts_on=starts_on).first()
    kept = rows.put(
        said or WaysOfPaying(machine=machine, starts_on=starts_on),
        {"takes": takes},
        actor=actor,
        verb="set ways of paying",
        now=now,
    )
    _touch(machine, now)
    return kept


def _touch(machine: Machine, now: datetime) -> None:
    Machine.objects.filter(pk=machine.pk).update(updated_at=now)
    machine.updated_at = now


def _wiring(columns: Mapping[str, Column], selections: Iterable[Selection]) -> dict[str, str]:
    return {
        f"position {label}": column.selection.code if column.selection else ""
        for label, column in columns.items()
    } | {f"picture of {one.code}": one.picture for one in selections}
