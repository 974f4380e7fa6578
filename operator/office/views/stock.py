"""Stock as the desk looks at it: places, lots by date, movements, waste, and all of it as files."""

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.db.models import Q, QuerySet, Sum
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.inventory import tables
from fleet.inventory.actions import ledger, stores
from fleet.inventory.models import Movement, StockLevel, StockPlace
from fleet.inventory.queries import stock
from fleet.inventory.queries.gates import count_for, movement_for, place_for
from fleet.inventory.queries.waste import wasted
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.stock import LotFilter, MovementFilter, PeriodForm, StoreForm, WhyForm
from office.paging import latest_of
from people import audit
from people.exports import within
from people.models import Business

SHOWN = 20
SOON_DAYS = 14
USUAL_DAYS = 30


def listing(request: PersonRequest) -> HttpResponse:
    """Warehouses and trucks, what machines hold in all, and what is soon out of date."""
    places = stock.places_listed().filter(kind__in=stock.KEPT_BY_HAND)
    until = _today() + timedelta(days=SOON_DAYS)
    near = stock.dated().filter(lot__best_before__lte=until)
    context = {
        "places": _with_counts(places),
        "in_machines": StockLevel.objects.filter(place__kind="column").aggregate(
            units=Sum("quantity", filter=Q(quantity__gt=0), default=0),
            below=Sum("quantity", filter=Q(quantity__lt=0), default=0),
        ),
        "near": near[:SHOWN],
        "more_near": max(near.count() - SHOWN, 0),
        "until": until,
        "today": _today(),
    }
    return render(request, "office/stock/places.html", context)


def _with_counts(places: "QuerySet[StockPlace]") -> list[tuple[StockPlace, datetime | None]]:
    counted = stock.last_counted(places)
    return [(one, counted.get(one.pk)) for one in places]


def open_store(request: PersonRequest) -> HttpResponse:
    form = StoreForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = tried(
            form, stores.open_store, actor=request.user, now=timezone.now(), **form.cleaned_data
        )
        if made:
            messages.success(request, f"{made} is open.")
            return redirect("office:stock-place", made.pk)
    return render(request, "office/stock/open.html", {"form": form}, status=sent(form))


def place(request: PersonRequest, pk: int) -> HttpResponse:
    """What one place holds, by product and lot, and what happened there lately."""
    found = place_for(request.user, pk)
    levels = list(stock.levels_of(found))
    costs = [one.product.cost * one.quantity for one in levels if one.product.cost is not None]
    context = {
        "place": found,
        "levels": levels,
        "units": sum(one.quantity for one in levels),
        "cost": sum(costs) if costs else None,
        "without_cost": {one.product for one in levels if one.product.cost is None},
        "counts": found.counts.select_related("actor").order_by("-counted_at", "-pk")[:5],
        "movements": stock.movements_listed().filter(stock.touching(found)).distinct()[:SHOWN],
        "today": _today(),
        "soon": _today() + timedelta(days=SOON_DAYS),
        "own_query": f"place={found.pk}",
        "by_hand": found.kind in stock.KEPT_BY_HAND,
        "entries": audit.entries_of(found)[:SHOWN],
    }
    return render(request, "office/stock/place.html", context)


def close_store(request: PersonRequest, pk: int) -> HttpResponse:
    found = place_for(request.user, pk, write=True)
    stores.close_store(place=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found} is closed.")
    return redirect("office:stock")


def lots(request: PersonRequest) -> HttpResponse:
    """What bears a best-before date, the earliest first."""
    until = _today() + timedelta(days=USUAL_DAYS)
    form = LotFilter(request.GET or {"until": until.isoformat()})
    rows = _lots(form)
    context = {"levels": rows[:500], "form": form, "today": _today(), "soon": _soon()}
    return render(request, "office/stock/lots.html", context)


def movements(request: PersonRequest) -> HttpResponse:
    """What moved, latest first; the reason, the place, the product and the days narrow it."""
    form = MovementFilter(request.GET)
    page = latest_of(_movements(form), request.GET, moment="happened_at")
    context = {"movements": page.rows, "page": page, "form": form}
    return render(request, "office/stock/movements.html", context)


def movement(request: PersonRequest, pk: int) -> HttpResponse:
    return _movement(request, movement_for(request.user, pk), WhyForm())


def correct(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a movement back, with the reason."""
    found = movement_for(request.user, pk, write=True)
    form = WhyForm(request.POST)
    if form.is_valid():
        made = tried(
            form,
            ledger.correct,
            movement=found,
            note=form.cleaned_data["note"],
            actor=request.user,
            now=timezone.now(),
        )
        if made:
            messages.success(request, "It is taken back by opposite lines.")
            return redirect("office:stock-movement", made.pk)
    return _movement(request, movement_for(request.user, pk), form)


def _movement(request: PersonRequest, found: Movement, form: WhyForm) -> HttpResponse:
    takes_back = {Movement.Reason.COUNT, Movement.Reason.SALE, Movement.Reason.CORRECTION}
    context = {
        "movement": found,
        "form": form,
        "corrected_by": getattr(found, "corrected_by", None),
        "can_be_taken_back": found.reason not in takes_back
        and getattr(found, "corrected_by", None) is None
        and getattr(found, "receipt", None) is None,
        "receipt": getattr(found, "receipt", None),
    }
    return render(request, "office/stock/movement.html", context, status=sent(form))


def count(request: PersonRequest, pk: int) -> HttpResponse:
    """What was found beside what the records said."""
    found = count_for(request.user, pk)
    lines = list(found.lines.all())
    context = {
        "count": found,
        "lines": lines,
        "amiss": sum(1 for one in lines if one.difference),
    }
    return render(request, "office/stock/count.html", context)


def waste(request: PersonRequest) -> HttpResponse:
    """What went to waste in a period: by reason, and under it by product."""
    form = _period(request)
    context: dict[str, Any] = {"form": form, "reasons": []}
    if form.is_valid():
        rows = wasted(**_moments(form))
        reasons: dict[str, list[Any]] = {}
        for row in rows:
            reasons.setdefault(row.reason_said, []).append(row)
        context["reasons"] = [
            (reason, found, sum(one.units for one in found), sum(one.cost for one in found))
            for reason, found in reasons.items()
        ]
        context["units"] = sum(one.units for one in rows)
        context["cost"] = sum(one.cost for one in rows)
        context["priced_now"] = sum(one.units_priced_now for one in rows)
        context["without_cost"] = sum(one.units_without_cost for one in rows)
    return render(request, "office/stock/waste.html", context, status=sent(form))


def export(request: PersonRequest, what: str) -> HttpResponse:
    """A list as a file, narrowed as its page is."""
    zone = Business.the().time_zone
    match what:
        case "levels":
            rows = stock.levels_listed()
            asked = request.GET.get("place", "")
            if asked.isascii() and asked.isdecimal():
                rows = rows.filter(place=place_for(request.user, int(asked[:18])))
            table = tables.levels(rows, zone)
        case "lots":
            table = tables.levels(_lots(LotFilter(request.GET)), zone, name="Lots by best before")
        case "movements":
            chosen = _movements(MovementFilter(request.GET))
            lines = stock.lines_listed().filter(movement__in=chosen.order_by().values("pk"))
            table = tables.movement_lines(within(lines), zone)
        case _:
            raise Http404
    return sent_as_file(request, table)


def export_waste(request: PersonRequest) -> HttpResponse:
    form = _period(request)
    rows = wasted(**_moments(form)) if form.is_valid() else []
    return sent_as_file(request, tables.waste(rows, Business.the().time_zone))


def _lots(form: LotFilter) -> "QuerySet[StockLevel]":
    rows = stock.dated()
    given = form.cleaned_data if form.is_valid() else {}
    if given.get("until"):
        rows = rows.filter(lot__best_before__lte=given["until"])
    if given.get("kind"):
        rows = rows.filter(place__kind=given["kind"])
    return rows


def _movements(form: MovementFilter) -> "QuerySet[Movement]":
    rows = stock.movements_listed()
    given = form.cleaned_data if form.is_valid() else {}
    if given.get("reason"):
        rows = rows.filter(reason=given["reason"])
    if given.get("place"):
        rows = rows.filter(stock.touching(given["place"])).distinct()
    if given.get("product"):
        rows = rows.filter(lines__product=given["product"]).distinct()
    zone = Business.the().time_zone
    if given.get("since"):
        rows = rows.filter(happened_at__gte=_midnight(given["since"], zone))
    if given.get("until"):
        rows = rows.filter(happened_at__lt=_midnight(given["until"] + timedelta(days=1), zone))
    return rows


def _period(request: PersonRequest) -> PeriodForm:
    first = {"since": _today() - timedelta(days=USUAL_DAYS), "until": _today()}
    return PeriodForm(request.GET if {"since", "until"} & set(request.GET) else first)


def _moments(form: PeriodForm) -> dict[str, datetime]:
    zone = Business.the().time_zone
    return {
        "since": _midnight(form.cleaned_data["since"], zone),
        "until": _midnight(form.cleaned_data["until"] + timedelta(days=1), zone),
    }


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone)


def _today() -> date:
    return timezone.localdate(timezone.now(), Business.the().time_zone)


def _soon() -> date:
    return _today() + timedelta(days=SOON_DAYS)
