"""Kinds of machine: their timing, their depth programs, and their positions."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import models, transaction

from fleet.compute.units import BadMeasure
from people import rows
from people.errors import Unable, Unacceptable
from people.models import Person

from ..geometry import board_of, position_of
from ..models import Column, DepthProgram, Kind, Position


@transaction.atomic
def save_kind(
    *,
    actor: Person,
    now: datetime,
    changes: Mapping[str, Any],
    programs: Sequence[Mapping[str, Any]] | None = None,
    positions: Sequence[Mapping[str, Any]] | None = None,
    kind: Kind | None = None,
) -> Kind:
    """Add or change a kind with its programs (known by name) and positions (known by label).

    Lists that are given are whole: what they leave out is removed, if nothing uses it. New
    positions
    become columns of every machine of the kind. Raises Unacceptable, naming the row by its index
    (`positions.2.front_pitch_mm`), or Unable when something in use would go.
    """
    verb = "add kind" if kind is None else "change kind"
    if kind is not None:
        # Locked, or a machine that is added just now would lack the columns of new positions.
        Kind.objects.select_for_update(no_key=True).get(pk=kind.pk)
    saved = rows.put(kind or Kind(), changes, actor=actor, verb=verb, now=now)
    if kind is not None:
        Kind.objects.filter(pk=saved.pk).update(updated_at=now)  # the ETag covers the parts too
        saved.updated_at = now
    if programs is not None:
        _replace(DepthProgram, saved, "programs", "name", programs, actor=actor, now=now)
    if positions is not None:
        ordered = [{"order": index, **one} for index, one in enumerate(positions)]
        _replace(Position, saved, "positions", "label", ordered, actor=actor, now=now)
        _add_columns(saved)
    _require_measures(saved)
    return saved


def _replace(
    model: type[models.Model],
    kind: Kind,
    parts: str,
    key: str,
    wanted: Sequence[Mapping[str, Any]],
    *,
    actor: Person,
    now: datetime,
) -> None:
    names = [str(one.get(key, "")) for one in wanted]
    for index, name in enumerate(names):
        if name in names[:index]:
            message = f"{name!r} stands twice"
            raise Unacceptable(f"{parts}: {message}", fields={f"{parts}.{index}.{key}": message})
    stored = {getattr(row, key): row for row in getattr(kind, parts).all()}
    for name in stored.keys() - set(names):
        rows.delete(stored[name], actor=actor, verb=f"remove from {parts}", now=now)
    for index, (name, one) in enumerate(zip(names, wanted, strict=True)):
        try:
            rows.put(
                stored.get(name) or model(kind=kind),
                one,
                actor=actor,
                verb=f"{'change' if name in stored else 'add'} in {parts}",
                now=now,
            )
        except Unacceptable as error:
            fields = {f"{parts}.{index}.{f}": text for f, text in error.fields.items()}
            raise Unacceptable(f"{parts}, {name or index}: {error}", fields=fields) from error
    kind.refresh_from_db()


def _add_columns(kind: Kind) -> None:
    have = set(Column.objects.filter(machine__kind=kind).values_list("machine_id", "position_id"))
    wanted = [
        Column(machine_id=machine, position_id=position)
        for machine in kind.machines.values_list("pk", flat=True)
        for position in kind.positions.values_list("pk", flat=True)
        if (machine, position) not in have
    ]
    Column.objects.bulk_create(wanted)


def _require_measures(kind: Kind) -> None:
    fresh = Kind.objects.prefetch_related("programs", "positions").get(pk=kind.pk)
    try:
        board_of(fresh)
    except BadMeasure as error:
        part = "vend_window_s" if error.field == "board.vend_window_s" else "programs"
        raise Unacceptable(str(error), fields={part: str(error)}) from error
    for index, position in enumerate(fresh.positions.all()):
        try:
            position_of(position)
        except BadMeasure as error:
            raise Unacceptable(
                f"position {position.label}: {error}",
                fields={f"positions.{index}": str(error)},
            ) from error


@transaction.atomic
def delete_kind(*, kind: Kind, actor: Person, now: datetime) -> None:
    """Delete a kind that no machine is of. Raises Unable."""
    if kind.machines.exists():
        raise Unable(f"{kind} has machines and cannot be deleted", code="in_use")
    rows.delete(kind, actor=actor, verb="delete kind", now=now)
