"""Planning changeovers: some columns to one product, or one product replaced everywhere."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString

from fleet.compute.results import Fit, Verdict
from fleet.compute.units import BadMeasure
from fleet.machines.actions import changeovers as actions
from fleet.machines.actions.changeovers import LeftOut, PlannedLine, why_not
from fleet.machines.geometry import package_of, position_of
from fleet.machines.models import Changeover, Column, Machine, Product, SetUp
from fleet.machines.queries.fits import Bench
from fleet.machines.queries.fleet import columns_of, set_ups_now
from office import glances
from office.doors import PersonRequest, sent, tried
from office.drawing.sections import near
from office.drawing.stack import Loaded
from office.forms.changeovers import ByHandForm, PlanColumnsForm, ReplaceForm
from people.models import Business

# Beyond this many a plan is a table, each column's reasons folded beneath it.
MOST_DRAWN = 3
BUSY = "It is in another changeover already."


@dataclass(frozen=True)
class Outlook:
    """One column of a plan before it is made: what it holds, what would be, and why."""

    column: Column
    set_up: SetUp | None
    fit: Fit | None
    trouble: str
    drawing: SafeString | None
    place: object

    @property
    def goes_in(self) -> bool:
        verdict = self.fit.verdict if self.fit else None
        return not self.trouble and verdict in {Verdict.FITS, Verdict.FITS_WITH_CAUTION}

    @property
    def why_not(self) -> str:
        """Why the product does not go in, in one line."""
        return self.trouble or (why_not(self.fit) if self.fit else "")


def plan(request: PersonRequest) -> HttpResponse:
    """Choose columns and a product, see what is computed, then plan."""
    asked = request.POST if request.method == "POST" else request.GET
    keys = [int(key) for key in asked.getlist("column") if key.isdecimal()]
    columns = list(
        Column.objects.filter(pk__in=keys)
        .select_related("machine__kind", "position__kind", "selection")
        .order_by("machine__asset_tag", "position__order", "pk")
    )
    product = _product(asked.get("product", ""))
    sent_plan = request.method == "POST"
    form = PlanColumnsForm(request.POST if sent_plan else None, initial=_first(product))
    by_hand = (
        ByHandForm(request.POST if sent_plan else None, column=columns[0])
        if len(columns) == 1
        else None
    )
    ready = form.is_valid() and (by_hand is None or by_hand.is_valid()) if sent_plan else False
    if ready and product is not None:
        made = tried(
            form,
            actions.plan,
            purpose=form.cleaned_data["purpose"],
            planned_for=form.cleaned_data["planned_for"],
            test_vends=form.cleaned_data["test_vends"],
            lines=[
                PlannedLine(
                    column=column,
                    product=product,
                    price=form.cleaned_data["price"],
                    **(by_hand.given() if by_hand else {}),
                )
                for column in columns
            ],
            actor=request.user,
            now=timezone.now(),
        )
        if made:
            messages.success(request, f"Planned: {made.purpose}.")
            return redirect("office:plan-page", made.pk)
    machine = _machine(request.GET.get("machine", ""))
    few = len(columns) <= MOST_DRAWN
    found = outlooks(columns, product, drawn=few) if product else []
    context = {
        "form": form,
        "by_hand": by_hand,
        "product": product,
        "columns": columns,
        "outlooks": found,
        "few": few,
        "kept_out": kept_out(found),
        "going_in": [one.column.pk for one in found if one.goes_in],
        "products": Product.objects.filter(sold=True).order_by("name", "pk"),
        "machines": Machine.objects.exclude(status=Machine.Status.RETIRED).order_by("asset_tag"),
        "machine": machine,
        "machine_columns": columns_of(machine) if machine else [],
    }
    status = sent(*[one for one in (form, by_hand) if one])
    return render(request, "office/changeovers/planner.html", context, status=status)


def replace(request: PersonRequest) -> HttpResponse:
    """One product takes the place of another: see where, and where it cannot, before planning."""
    old, new = _product(request.GET.get("old", "")), _product(request.GET.get("new", ""))
    first = {**_first(new), "old": old, "new": new}
    if old and new:
        first["purpose"] = f"{new} replaces {old}"
    form = ReplaceForm(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        made = tried(
            form,
            actions.plan_replacement,
            **form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        )
        if made:
            if made.plan:
                if made.left_out:
                    messages.error(request, _left_out(made.left_out))
                messages.success(request, f"Planned: {made.plan.purpose}.")
                return redirect("office:plan-page", made.plan.pk)
            form.add_error(None, "The new product goes into none of these columns.")
    if form.is_bound:
        old, new = form.cleaned_data.get("old"), form.cleaned_data.get("new")
    held = (
        list(
            Column.objects.filter(set_ups__product=old, set_ups__ends_at__isnull=True)
            .exclude(machine__status=Machine.Status.RETIRED)
            .select_related("machine__kind", "position__kind", "selection")
            .order_by("machine__asset_tag", "position__order", "pk")
        )
        if old
        else []
    )
    found = outlooks(held, new, drawn=False) if new else []
    context = {
        "form": form,
        "old": old,
        "new": new,
        "outlooks": found,
        "kept_out": kept_out(found),
        "held": len(held),
        "fitting": sum(one.goes_in for one in found),
    }
    return render(request, "office/changeovers/replace.html", context, status=sent(form))


def _left_out(left: Sequence[LeftOut]) -> str:
    """Why columns were left out: those of one reason in one sentence."""
    of: dict[str, list[str]] = {}
    for one in left:
        of.setdefault(one.why, []).append(str(one.column))
    said = [f"{', '.join(columns)}: {why}" for why, columns in of.items()]
    return f"Left out, and still as before: {len(left)}. {' '.join(said)}"


def outlooks(columns: list[Column], product: Product, *, drawn: bool = True) -> list[Outlook]:
    """What is computed for each column, in a fixed number of queries."""
    bench = Bench.for_columns(columns)
    now = {one.column_id: one for one in set_ups_now().filter(column__in=columns)}
    places = glances.places({column.machine for column in columns})
    busy = set(
        Changeover.objects.filter(
            column__in=columns, state__in=[Changeover.State.PLANNED, Changeover.State.IN_HAND]
        ).values_list("column", flat=True)
    )
    return [
        _outlook(
            column,
            product,
            bench,
            now.get(column.pk),
            places.get(column.machine_id),
            drawn,
            BUSY if column.pk in busy else "",
        )
        for column in columns
    ]


def kept_out(found: Sequence[Outlook]) -> list[tuple[str, list[Outlook]]]:
    """The columns that the product does not go into, those of one reason together."""
    of: dict[str, list[Outlook]] = {}
    for one in found:
        if not one.goes_in:
            of.setdefault(one.why_not, []).append(one)
    return list(of.items())


def _outlook(
    column: Column,
    product: Product,
    bench: Bench,
    set_up: SetUp | None,
    place: object,
    drawn: bool,
    trouble: str,
) -> Outlook:
    try:
        answer = bench.fit(column.position, product.package)
    except BadMeasure as error:
        return Outlook(column, set_up, None, str(error), None, place)
    drawing = None
    if drawn and answer.deep:
        drawing = near(
            position_of(column.position),
            Loaded(
                package_of(product.package),
                answer.deep,
                answer.front.notch if answer.front else None,
                answer.rear.notch if answer.rear else None,
            ),
            ident=f"outlook-{column.pk}",
            title=f"Column {column.position.label} with {product.name}",
            units=bench.units,
        )
    return Outlook(column, set_up, answer, trouble, drawing, place)


def _product(key: str) -> Product | None:
    if not key.isdecimal():
        return None
    return Product.objects.filter(pk=int(key)).select_related("package").first()


def _machine(key: str) -> Machine | None:
    return Machine.objects.filter(pk=int(key)).first() if key.isdecimal() else None


def _first(product: Product | None) -> dict[str, object]:
    business = Business.the()
    tomorrow = timezone.localdate(timezone=business.time_zone) + timedelta(days=1)
    return {"planned_for": tomorrow, "purpose": f"{product} goes in" if product else ""}
