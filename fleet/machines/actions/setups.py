"""How a column is set: recorded as found, and checked against what its position can take."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from fleet.compute.capacity import capacity_at
from fleet.compute.units import BadMeasure
from people import rows
from people.errors import Unable, Unacceptable
from people.models import Business, Person

from ..geometry import package_of, position_of, rules_of
from ..models import Column, DepthProgram, Position, Product, SetUp
from .holdings import require_money


@transaction.atomic
def record_as_found(
    *,
    column: Column,
    product: Product,
    deep: int,
    price: Decimal,
    starts_at: datetime,
    actor: Person,
    now: datetime,
    front_setting: int | None = None,
    rear_setting: int | None = None,
    program: DepthProgram | None = None,
    orientation: str | None = None,
    capacity: int | None = None,
) -> SetUp:
    """Record how a column was found set, from `starts_at` on; the set-up before ends there.

    Capacity is computed when it is left out, orientation is then the usual one of the position.
    Raises Unacceptable for a setting the position cannot take or a moment to come, Unable when a
    later set-up is already recorded.
    """
    if starts_at > now:
        message = f"{starts_at.isoformat()} is still to come; nothing has been found then yet"
        raise Unacceptable(message, fields={"starts_at": message})
    setting = {
        "deep": deep,
        "front_setting": front_setting,
        "rear_setting": rear_setting,
        "program": program,
        "price": price,
        "orientation": orientation or usual_orientation(column.position),
    }
    require_setting(column=column, setting=setting)
    return begin_set_up(
        column=column,
        product=product,
        setting=setting,
        capacity=capacity_of(column.position, product, deep) if capacity is None else capacity,
        source=SetUp.Source.FOUND,
        starts_at=starts_at,
        actor=actor,
        now=now,
    )


def begin_set_up(
    *,
    column: Column,
    product: Product,
    setting: Mapping[str, Any],
    capacity: int,
    source: str,
    starts_at: datetime,
    actor: Person,
    now: datetime,
) -> SetUp:
    """End the set-up in force and begin the next, in the caller's transaction.

    The column's row is locked, so two at once follow each other. Raises Unable, Unacceptable.
    """
    require_sellable(product)
    Column.objects.select_for_update(of=("self",)).get(pk=column.pk)
    latest = column.set_ups.order_by("-starts_at").first()
    if latest is not None and latest.starts_at >= starts_at:
        raise Unable(
            f"{column}: a set-up is already recorded from {latest.starts_at.isoformat()}; "
            "the next one starts after that",
            code="set_up_later",
        )
    if latest is not None and (latest.ends_at is None or latest.ends_at > starts_at):
        rows.put(latest, {"ends_at": starts_at}, actor=actor, verb="end set-up", now=now)
    return rows.put(
        SetUp(column=column, product=product, source=source),
        {**setting, "capacity": capacity, "starts_at": starts_at},
        actor=actor,
        verb="begin set-up",
        now=now,
    )


def require_sellable(product: Product, field: str = "product") -> None:
    """Refuse what no column is set for. Raises Unacceptable."""
    if product.form == Product.Form.PART:
        message = f"{product} is a spare part; no column is set for it"
        raise Unacceptable(message, code="spare_part", fields={field: message})


def capacity_of(position: Position, product: Product, deep: int) -> int:
    """Products the position holds at this depth, by geometry; 0 when a size is not measured."""
    try:
        return capacity_at(
            position_of(position), package_of(product.package), deep, rules_of(Business.the())
        )
    except BadMeasure:
        return 0


def usual_orientation(position: Position) -> str:
    """How products lie in a position of this style, or stand, unless somebody says otherwise."""
    if position.style == Position.Style.SPIRAL:
        return SetUp.Orientation.UPRIGHT
    return SetUp.Orientation.CAP_OUTWARD


def require_setting(*, column: Column, setting: Mapping[str, Any], prefix: str = "") -> None:
    """Refuse a setting that the column's position cannot take. Raises Unacceptable by field."""
    position, wrong = column.position, {}
    if position.style == Position.Style.STACK:
        if not 1 <= setting["deep"] <= position.greatest_deep:
            wrong["deep"] = f"position {position.label} takes 1 to {position.greatest_deep} deep"
        for side in ("front", "rear"):
            wrong |= _rail_problem(position, side, setting[f"{side}_setting"])
    elif setting["deep"] != 1:
        wrong["deep"] = "a spiral holds its products one deep"
    program = setting["program"]
    if program is not None and program.kind_id != position.kind_id:
        wrong["program"] = f"{program} is a program of another kind of machine"
    if setting["price"] < 0:
        wrong["price"] = "a price is not below zero"
    if wrong:
        said = "; ".join(f"{field}: {text}" for field, text in wrong.items())
        fields = {prefix + field: text for field, text in wrong.items()}
        raise Unacceptable(f"{column}: {said}", fields=fields)
    require_money(setting["price"], prefix + "price")


def _rail_problem(position: Position, side: str, notch: int | None) -> dict[str, str]:
    notches = getattr(position, f"{side}_notches")
    has_rail = getattr(position, f"{side}_depth_mm") is not None
    if notch is not None and not has_rail:
        return {f"{side}_setting": f"position {position.label} has no {side} half"}
    if notch is not None and has_rail and not 0 <= notch < notches:
        return {f"{side}_setting": f"the {side} rail has the notches 0 to {notches - 1}"}
    return {}
