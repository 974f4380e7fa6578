"""What fits this column, and where a product could go."""

from collections import Counter

from django.http import HttpResponse
from django.shortcuts import redirect, render

from fleet.compute.results import Verdict
from fleet.machines.models import Machine, Product
from fleet.machines.queries import fits
from fleet.machines.queries.fleet import columns_of, set_ups_of
from fleet.machines.queries.gates import column_for, product_for
from office import glances
from office.columns import standing
from office.doors import PersonRequest, asks_for_part, part_or_page
from office.drawing.sections import NEAR, scale_said
from people import audit

MOST_SHOWN = 60


def ask(request: PersonRequest) -> HttpResponse:
    """Choose a product or a column to ask about."""
    product, column = request.GET.get("product", ""), request.GET.get("column", "")
    if product.isdecimal():
        return redirect("office:fit-product", int(product))
    if column.isdecimal():
        return redirect("office:column", int(column))
    machine = request.GET.get("machine", "")
    chosen = (
        Machine.objects.filter(pk=int(machine)).select_related("kind").first()
        if machine.isdecimal()
        else None
    )
    context = {
        "products": Product.objects.filter(sold=True).select_related("package"),
        "machines": Machine.objects.exclude(status=Machine.Status.RETIRED).order_by("asset_tag"),
        "chosen": chosen,
        "columns": columns_of(chosen) if chosen else [],
    }
    return render(request, "office/fit/ask.html", context)


def column(request: PersonRequest, pk: int) -> HttpResponse:
    """One column at a scale to work by: how it stands, why, and everything that fits it."""
    found = column_for(request.user, pk)
    search = request.GET.get("search", "").strip()
    answers = fits.what_fits(found, search=search)
    context = {
        "column": found,
        "search": search,
        "answers": answers,
        "counts": _counts(one.fit.verdict for one in answers),
    }
    templates = ("office/fit/what_fits_part.html", "office/fit/column.html")
    if asks_for_part(request):
        return part_or_page(request, *templates, context)
    shown = next(iter(columns_of(found.machine).filter(pk=found.pk)))
    bench = fits.Bench.for_kinds([found.machine.kind_id])
    place = glances.places([found.machine]).get(found.machine_id)
    context |= {
        "standing": standing(shown, bench, near=True),
        "scale": scale_said(NEAR),
        "place": place,
        "set_ups": set_ups_of(found.machine).filter(column=found)[:20],
        "open_changeover": next(iter(shown.changeovers_open), None),  # type: ignore[attr-defined]
        "entries": audit.entries_of(found)[:20],
    }
    return part_or_page(request, *templates, context)


def product(request: PersonRequest, pk: int) -> HttpResponse:
    """Every column of the fleet for one product, the best first."""
    found = product_for(request.user, pk)
    search = request.GET.get("search", "").strip()
    wanted = request.GET.get("verdict", "")
    verdict = Verdict(wanted) if wanted in set(Verdict) else None
    answers = fits.where_fits(found, search=search, verdict=verdict, limit=MOST_SHOWN)
    counted = answers.counts if verdict is None else {verdict: answers.counts.get(verdict, 0)}
    places = glances.places({one.column.machine for one in answers.columns})
    context = {
        "product": found,
        "search": search,
        "wanted": wanted,
        "counts": [(one.value, count) for one, count in answers.counts.items()],
        "answers": [(one, places.get(one.column.machine_id)) for one in answers.columns],
        "more": sum(counted.values()) - len(answers.columns),
        "verdicts": list(Verdict),
    }
    return part_or_page(
        request, "office/fit/where_fits_part.html", "office/fit/product.html", context
    )


def _counts(verdicts: object) -> list[tuple[str, int]]:
    counted = Counter(verdicts)  # type: ignore[call-overload]
    return [(verdict.value, counted[verdict]) for verdict in fits.ORDER if counted[verdict]]
