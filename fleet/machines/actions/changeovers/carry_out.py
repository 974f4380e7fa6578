"""Carrying out: taken in hand, then completed with what was left, or abandoned with a reason."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from people import rows
from people.errors import Unacceptable
from people.models import Business, Person

from ...models import Changeover, Column, DepthProgram, Product, RemovedProduct, SetUp
from ..setups import begin_set_up, capacity_of, require_setting, usual_orientation
from .errors import UnableToAbandon, UnableToComplete, UnableToTake


@dataclass(frozen=True)
class AsLeft:
    """How the column was left, as read off the rails, the board and the door."""

    deep: int
    price: Decimal
    front_setting: int | None = None
    rear_setting: int | None = None
    program: DepthProgram | None = None
    orientation: str | None = None
    """None: the usual one of the column's position."""


@dataclass(frozen=True)
class Removed:
    """Products that came out of the column."""

    product: Product
    condition: str
    count: int


@transaction.atomic
def take(*, changeover: Changeover, actor: Person, now: datetime) -> Changeover:
    """Take a planned changeover in hand. Raises UnableToTake, also when the position was measured
    anew and cannot take what was planned any more."""
    row = _locked(changeover)
    if row.state != Changeover.State.PLANNED:
        raise UnableToTake(row, f"it is {row.get_state_display()}", code="not_planned")
    try:
        require_setting(column=row.column, setting={name: getattr(row, name) for name in _SETTING})
    except Unacceptable as error:
        why = f"the machine's kind was changed since it was planned; plan it again ({error})"
        raise UnableToTake(row, why, code="plan_outdated") from error
    return rows.put(
        row,
        {
            "state": Changeover.State.IN_HAND,
            "taken_at": now,
            "taken_by": actor,
            # The column may have been found set otherwise since it was planned.
            "from_set_up": _set_up_now(row.column),
        },
        actor=actor,
        verb="take changeover",
        now=now,
    )


@transaction.atomic
def complete(
    *,
    changeover: Changeover,
    as_left: AsLeft,
    removed: Sequence[Removed],
    test_vends_made: int,
    test_vends_passed: int,
    picture_matches: bool,
    actor: Person,
    now: datetime,
    what_happened: str = "",
    mismatch_reason: str = "",
) -> Changeover:
    """Record what came out and how the column was left; the old set-up ends and the new one begins.

    One transaction: all of it or nothing. Where as-left differs from the plan, a reason is asked
    and kept. Raises UnableToComplete or Unacceptable.
    """
    row = _locked(changeover)
    if row.state != Changeover.State.IN_HAND:
        first = "; take it in hand first" if row.state == Changeover.State.PLANNED else ""
        raise UnableToComplete(row, f"it is {row.get_state_display()}{first}", code="not_in_hand")
    setting = {name: getattr(as_left, name) for name in _SETTING}
    setting["orientation"] = as_left.orientation or usual_orientation(row.column.position)
    require_setting(column=row.column, setting=setting, prefix="as_left.")
    _require_test_vends(row, test_vends_made, test_vends_passed, what_happened)
    counted = _require_removed(removed)
    mismatches = _mismatches(row, setting, picture_matches, test_vends_made, test_vends_passed)
    if mismatches and not mismatch_reason.strip():
        differ = ", ".join(one["said"] for one in mismatches)
        raise Unacceptable(
            f"{row}: say why it was left otherwise than planned: {differ}",
            code="mismatch_needs_reason",
            fields={"mismatch_reason": f"say why: {differ}"},
        )
    # Locked before it is looked at: the one that ends must be the one that is named.
    Column.objects.select_for_update(of=("self",)).get(pk=row.column_id)
    from_set_up = _set_up_now(row.column)
    set_up = begin_set_up(
        column=row.column,
        product=row.product,
        setting=setting,
        capacity=row.capacity
        if as_left.deep == row.deep
        else capacity_of(row.column.position, row.product, as_left.deep),
        source=SetUp.Source.CHANGEOVER,
        starts_at=now,
        actor=actor,
        now=now,
    )
    RemovedProduct.objects.bulk_create(
        RemovedProduct(
            changeover=row, product=one.product, condition=one.condition, count=one.count
        )
        for one in counted
    )
    done = rows.put(
        row,
        {
            "state": Changeover.State.DONE,
            "ended_at": now,
            "ended_by": actor,
            "from_set_up": from_set_up,
            "to_set_up": set_up,
            "as_left_deep": as_left.deep,
            "as_left_front": as_left.front_setting,
            "as_left_rear": as_left.rear_setting,
            "as_left_program": as_left.program,
            "as_left_price": as_left.price,
            "as_left_orientation": setting["orientation"],
            "picture_matches": picture_matches,
            "test_vends_made": test_vends_made,
            "test_vends_passed": test_vends_passed,
            "what_happened": what_happened,
            "mismatches": mismatches,
            "mismatch_reason": mismatch_reason,
        },
        actor=actor,
        verb="complete changeover",
        now=now,
        reason=mismatch_reason,
    )
    _show_picture(done, picture_matches, actor, now)
    return done


@transaction.atomic
def abandon(*, changeover: Changeover, reason: str, actor: Person, now: datetime) -> Changeover:
    """Give a changeover up; the column stays as it was. Raises UnableToAbandon or Unacceptable."""
    row = _locked(changeover)
    if row.state not in {Changeover.State.PLANNED, Changeover.State.IN_HAND}:
        raise UnableToAbandon(row, f"it is {row.get_state_display()}", code="already_ended")
    if not reason.strip():
        raise Unacceptable("say why it is abandoned", fields={"reason": "say why"})
    return rows.put(
        row,
        {
            "state": Changeover.State.ABANDONED,
            "ended_at": now,
            "ended_by": actor,
            "ended_reason": reason,
        },
        actor=actor,
        verb="abandon changeover",
        now=now,
        reason=reason,
    )


_SETTING = ("deep", "front_setting", "rear_setting", "program", "price", "orientation")


def _locked(changeover: Changeover) -> Changeover:
    return (
        Changeover.objects.select_for_update(of=("self",))
        .select_related(
            "column__machine", "column__position__kind", "column__selection", "product__package"
        )
        .get(pk=changeover.pk)
    )


def _set_up_now(column: Column) -> SetUp | None:
    return column.set_ups.filter(ends_at__isnull=True).first()


def _require_test_vends(row: Changeover, made: int, passed: int, what_happened: str) -> None:
    if made < 1 or passed < 0:
        message = "note the test vends made; at least one"
        raise UnableToComplete(row, message, code="no_test_vends")
    if passed > made:
        message = f"{passed} passed of {made} made"
        raise Unacceptable(message, fields={"test_vends_passed": message})
    if passed < made and not what_happened.strip():
        message = f"{made - passed} of {made} test vends failed: say what happened"
        raise Unacceptable(message, fields={"what_happened": message})


def _require_removed(removed: Sequence[Removed]) -> list[Removed]:
    seen = set()
    for index, one in enumerate(removed):
        if one.count < 0:
            message = "a count is not below zero"
            raise Unacceptable(message, fields={f"removed.{index}.count": message})
        if one.condition not in RemovedProduct.Condition.values:
            message = f"{one.condition!r} is none of {', '.join(RemovedProduct.Condition.values)}"
            raise Unacceptable(message, fields={f"removed.{index}.condition": message})
        if (one.product.pk, one.condition) in seen:
            message = f"{one.product}, {one.condition} stands twice; give one count"
            raise Unacceptable(message, fields={f"removed.{index}": message})
        seen.add((one.product.pk, one.condition))
    return [one for one in removed if one.count]


def _mismatches(
    row: Changeover, setting: dict[str, Any], picture_matches: bool, made: int, passed: int
) -> list[dict[str, Any]]:
    names = {
        "deep": "products deep",
        "front_setting": "front setting",
        "rear_setting": "rear setting",
        "program": "depth program",
        "price": "price",
        "orientation": "orientation",
    }
    found = [
        _mismatch(name, words, getattr(row, name), setting[name])
        for name, words in names.items()
        if getattr(row, name) != setting[name]
    ]
    if not picture_matches:
        found.append(_mismatch("picture", "button picture", row.product.picture, "another"))
    if made < row.test_vends_asked:
        found.append(_mismatch("test_vends_made", "test vends", row.test_vends_asked, made))
    if passed < made:
        found.append(_mismatch("test_vends_passed", "test vends passed", made, passed))
    return found


def _mismatch(name: str, words: str, planned: Any, left: Any) -> dict[str, Any]:
    plain = [_plain(value) for value in (planned, left)]
    return {
        "what": name,
        "planned": plain[0],
        "as_left": plain[1],
        "said": f"{words}: {plain[0] or 'none'} planned, {plain[1] or 'none'} left",
    }


def _plain(value: Any) -> str | None:
    if isinstance(value, Decimal):  # an amount
        return f"{value:.{Business.the().currency_exponent}f}"
    return None if value is None else str(value)


def _show_picture(row: Changeover, matches: bool, actor: Person, now: datetime) -> None:
    selection = row.column.selection
    if selection is not None and matches and selection.picture != row.product.picture:
        rows.put(
            selection, {"picture": row.product.picture}, actor=actor, verb="change picture", now=now
        )
