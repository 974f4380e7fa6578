"""The changeover sheet: all that one page says, as data for screen, printer and API."""

from dataclasses import dataclass

from fleet.compute.cautions import Work, cautions_for
from fleet.compute.positions import Position as Place
from fleet.compute.positions import SpiralPosition
from fleet.compute.rails import End
from fleet.compute.results import Fit, Hold, Reason
from fleet.compute.units import BadMeasure
from fleet.compute.vend_tests import (
    FailureBound,
    VendTestPlan,
    failure_bound,
    vend_test_plan,
    what_passes_prove,
)
from fleet.compute.worksheet import Step, Wish, steps
from people import currency
from people.models import Business

from ..geometry import position_of
from ..models import Changeover, Product
from ..models.setups import Setting
from .fits import Bench


@dataclass(frozen=True)
class Sheet:
    """One column's changeover, whole. `before` is None for a column that was never set up."""

    changeover: Changeover
    position: Place
    before: Wish | None
    after: Wish
    fit: Fit | None
    steps: tuple[Step, ...]
    cautions: tuple[Reason, ...]
    vend_tests: VendTestPlan
    asked: FailureBound
    proves: Reason
    blanks: tuple[str, ...]


def sheet(changeover: Changeover) -> Sheet:
    """Shape the sheet of a changeover that came through its gatekeeper (with its joins)."""
    column = changeover.column
    business = Business.the()
    bench = Bench.for_columns([column])
    learned = bench.offsets.get(column.position.kind_id, {})
    place = position_of(column.position, {end: one.offset_mm for end, one in learned.items()})
    before_row = changeover.from_set_up
    before = (
        None
        if before_row is None
        else _wish(before_row, before_row.product, before_row.capacity, business)
    )
    after = _wish(changeover, changeover.product, changeover.capacity, business)
    try:
        answer = bench.fit(column.position, changeover.product.package)
    except BadMeasure:
        answer = None
    bound = failure_bound(max(1, changeover.test_vends_asked))
    return Sheet(
        changeover=changeover,
        position=place,
        before=before,
        after=after,
        fit=answer,
        steps=steps(place, before, after, bench.rules, bench.units, holds=_holds(answer, after)),
        cautions=cautions_for(Work.CHANGEOVER),
        vend_tests=vend_test_plan(place, _deep_now(place, changeover.deep)),
        asked=bound,
        proves=what_passes_prove(bound),
        blanks=_blanks(changeover),
    )


def _deep_now(place: Place, planned: int) -> int:
    # A kept sheet outlives the measures it was made by; fewer may lie deep there now.
    return planned if isinstance(place, SpiralPosition) else min(planned, place.greatest_deep)


def _holds(answer: Fit | None, after: Wish) -> dict[End, Hold]:
    """What the spacers hold by, where they go to the notch that was computed."""
    settings = () if answer is None else (answer.front, answer.rear)
    planned = {End.FRONT: after.front_notch, End.REAR: after.rear_notch}
    return {
        setting.end: setting.hold
        for setting in settings
        if setting is not None and planned[setting.end] == setting.notch
    }


def _wish(row: Setting, product: Product, capacity: int, business: Business) -> Wish:
    return Wish(
        product=product.name,
        deep=row.deep,
        front_notch=row.front_setting,
        rear_notch=row.rear_setting,
        program=row.program.name if row.program else None,
        price=currency.said(row.price, business),
        picture=product.picture or product.name,
        capacity=capacity,
    )


def _blanks(changeover: Changeover) -> tuple[str, ...]:
    position = changeover.column.position
    rails = [
        f"{side} setting" for side in ("front", "rear") if getattr(position, f"{side}_depth_mm")
    ]
    return (
        "taken out, good",
        "taken out, out of date",
        "taken out, damaged",
        "products deep",
        *rails,
        "depth program",
        "price",
        "test vends made",
        "test vends passed",
        "what happened",
        "by, when",
    )
