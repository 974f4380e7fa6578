"""Planning: what each column will hold, how it is to be set, and why."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from fleet.compute.results import Fit, Verdict
from people import rows
from people.errors import Unacceptable
from people.models import Business, Person

from ...models import (
    Changeover,
    ChangeoverPlan,
    Column,
    DepthProgram,
    Machine,
    Product,
    SetUp,
)
from ...queries.fits import Bench
from ..setups import capacity_of, require_sellable, require_setting, usual_orientation
from .errors import UnableToPlan


@dataclass(frozen=True)
class PlannedLine:
    """One column's wish: settings computed, or all of them by hand once `deep` is given."""

    column: Column
    product: Product
    price: Decimal | None = None
    deep: int | None = None
    front_setting: int | None = None
    rear_setting: int | None = None
    program: DepthProgram | None = None

    @property
    def sets_by_hand(self) -> bool:
        return self.deep is not None


@dataclass(frozen=True)
class LeftOut:
    """A column that a replacement cannot reach, and why."""

    column: Column
    why: str


@dataclass(frozen=True)
class Replacement:
    """The plan for replacing a product everywhere, and the columns it leaves out."""

    plan: ChangeoverPlan | None
    left_out: tuple[LeftOut, ...]


@transaction.atomic
def plan(
    *,
    purpose: str,
    planned_for: date,
    lines: Sequence[PlannedLine],
    actor: Person,
    now: datetime,
    test_vends: int | None = None,
) -> ChangeoverPlan:
    """Plan the changeover of one or more columns, each with its computed settings and reasons.

    All lines are planned or none. A package that does not fit, or whose sizes are not measured, is
    refused unless the line sets the column by hand. Raises Unacceptable or UnableToPlan.
    """
    if not lines:
        raise Unacceptable("a plan needs a column", fields={"lines": "name at least one column"})
    _refuse_columns_twice(lines)
    # Locked in the order of their keys, so that two plans over the same columns do not deadlock.
    keys = sorted(line.column.pk for line in lines)
    list(Column.objects.select_for_update(of=("self",)).filter(pk__in=keys).order_by("pk"))
    whole = rows.put(
        ChangeoverPlan(created_by=actor, created_at=now),
        {"purpose": purpose, "planned_for": planned_for},
        actor=actor,
        verb="plan changeovers",
        now=now,
    )
    bench = Bench.for_columns([line.column for line in lines])
    current = _current_set_ups(keys)
    asked = Business.the().test_vends_asked if test_vends is None else test_vends
    for index, line in enumerate(lines):
        _plan_line(
            line,
            whole=whole,
            prefix=f"lines.{index}.",
            bench=bench,
            current=current.get(line.column.pk),
            test_vends=asked,
            actor=actor,
            now=now,
        )
    return whole


@transaction.atomic
def plan_replacement(
    *,
    old: Product,
    new: Product,
    purpose: str,
    planned_for: date,
    actor: Person,
    now: datetime,
    test_vends: int | None = None,
) -> Replacement:
    """Plan to replace a product in every column that holds it now, where the new one fits.

    Columns where it does not fit, or that are in another changeover already, are left out with the
    reason. Raises UnableToPlan when no column holds the old product.
    """
    holding = list(
        SetUp.objects.filter(product=old, ends_at__isnull=True)
        .exclude(column__machine__status=Machine.Status.RETIRED)
        .select_related("column__machine__kind", "column__position__kind", "column__selection")
        .order_by("column_id")
    )
    if not holding:
        raise UnableToPlan(f"replacing {old}", "no column holds it now")
    columns = [set_up.column for set_up in holding]
    bench = Bench.for_columns(columns)
    busy = set(
        Changeover.objects.filter(column__in=columns, state__in=["planned", "in_hand"]).values_list(
            "column_id", flat=True
        )
    )
    lines, left_out = [], []
    for column in columns:
        answer = bench.fit(column.position, new.package)
        if column.pk in busy:
            left_out.append(LeftOut(column, "it is in another changeover already"))
        elif answer.verdict in {Verdict.FITS, Verdict.FITS_WITH_CAUTION}:
            lines.append(PlannedLine(column=column, product=new))
        else:
            left_out.append(LeftOut(column, why_not(answer)))
    whole = None
    if lines:
        whole = plan(
            purpose=purpose,
            planned_for=planned_for,
            lines=lines,
            actor=actor,
            now=now,
            test_vends=test_vends,
        )
    return Replacement(plan=whole, left_out=tuple(left_out))


def why_not(answer: Fit) -> str:
    """A refusal in one sentence, from the answer's own reasons."""
    if answer.verdict is Verdict.CANNOT_TELL:
        return "not measured yet: " + ", ".join(answer.to_measure)
    return " ".join(reason.text for reason in answer.reasons) or "it does not fit"


def _plan_line(
    line: PlannedLine,
    *,
    whole: ChangeoverPlan,
    prefix: str,
    bench: Bench,
    current: SetUp | None,
    test_vends: int,
    actor: Person,
    now: datetime,
) -> None:
    column, product = line.column, line.product
    _require_whole_hand(line, prefix)
    require_sellable(product, f"{prefix}product")
    if column.machine.status == Machine.Status.RETIRED:
        raise UnableToPlan(column, "the machine is retired", code="machine_retired")
    open_already = column.changeovers.filter(state__in=["planned", "in_hand"]).first()
    if open_already is not None:
        raise UnableToPlan(
            column,
            f"it is in another changeover already ({open_already.plan.purpose})",
            code="column_in_changeover",
        )
    answer = bench.fit(column.position, product.package)
    fits = answer.verdict in {Verdict.FITS, Verdict.FITS_WITH_CAUTION}
    if not fits and not line.sets_by_hand:
        said = f"{product} in {column}: {why_not(answer)}"
        raise Unacceptable(said, code=answer.verdict.value, fields={f"{prefix}product": said})
    setting = _setting(line, answer, column)
    require_setting(column=column, setting=setting, prefix=prefix)
    if current is not None and current.product_id == product.pk and _same(current, setting):
        message = f"{column} already holds {product}, set exactly so"
        raise Unacceptable(message, code="nothing_changes", fields={f"{prefix}product": message})
    front, rear = _by_geometry(bench.plain_fit(column.position, product.package), setting["deep"])
    changeover = Changeover(
        plan=whole, column=column, product=product, from_set_up=current, created_at=now
    )
    rows.put(
        changeover,
        {
            **setting,
            "capacity": capacity_of(column.position, product, setting["deep"])
            if line.sets_by_hand or answer.capacity is None
            else answer.capacity.units,
            "computed": asdict(answer),
            "geometry_front": front,
            "geometry_rear": rear,
            "test_vends_asked": test_vends,
        },
        actor=actor,
        verb="plan changeover",
        now=now,
    )


def _require_whole_hand(line: PlannedLine, prefix: str) -> None:
    given = (line.front_setting, line.rear_setting, line.program)
    if not line.sets_by_hand and any(one is not None for one in given):
        message = f"{line.column}: set by hand, it needs to be said how many lie deep, too"
        raise Unacceptable(message, fields={f"{prefix}deep": message})


def _by_geometry(plain: Fit, deep: int) -> tuple[int | None, int | None]:
    """The notches for this very depth; those for another would teach an offset of its length."""
    same = next((one for one in plain.candidates if one.deep == deep), None)
    if same is None:
        return None, None
    front, rear = (None if one is None else one.notch for one in (same.front, same.rear))
    return front, rear


def _setting(line: PlannedLine, answer: Fit, column: Column) -> dict[str, Any]:
    programs = {p.name: p for p in column.position.kind.programs.all()}
    by_hand = line.sets_by_hand
    front = answer.front.notch if answer.front else None
    rear = answer.rear.notch if answer.rear else None
    return {
        "deep": (answer.deep or 1) if line.deep is None else line.deep,
        "front_setting": line.front_setting if by_hand else front,
        "rear_setting": line.rear_setting if by_hand else rear,
        "program": line.program if by_hand else programs.get(answer.program or ""),
        "price": line.product.price if line.price is None else line.price,
        "orientation": usual_orientation(column.position),
    }


def _same(current: SetUp, setting: dict[str, Any]) -> bool:
    return all(getattr(current, name) == value for name, value in setting.items())


def _refuse_columns_twice(lines: Sequence[PlannedLine]) -> None:
    seen: set[int] = set()
    for index, line in enumerate(lines):
        if line.column.pk in seen:
            message = f"{line.column} stands twice in this plan"
            raise Unacceptable(message, fields={f"lines.{index}.column": message})
        seen.add(line.column.pk)


def _current_set_ups(columns: Sequence[int]) -> dict[int, SetUp]:
    found = SetUp.objects.filter(column_id__in=columns, ends_at__isnull=True)
    return {set_up.column_id: set_up for set_up in found.select_related("product")}
