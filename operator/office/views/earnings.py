"""What machines, sites, products and drivers' hours earn, and what would change it."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.queries.gates import machine_for
from office import glances
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.drawing.earnings import Step, length, steps
from office.forms.earnings import EarningsSettingsForm
from office.forms.stock import PeriodForm
from people import audit, currency
from people.errors import NotFound
from people.models import Business
from service.compute.earnings import COSTS, Earned
from service.earnings import tables
from service.earnings.actions.settings import change_settings
from service.earnings.models import EarningsSettings
from service.earnings.queries.books import Books, books, machines_of_site
from service.earnings.queries.changes import levers_of, usual_period
from service.earnings.queries.ranking import BY, By, Line, ranked, whole

SHOWN = 200
DRAWN = 60


def ranking(request: PersonRequest) -> HttpResponse:
    """What earned most first, by machine, site, product or driver."""
    form, by = _period(request), _by(request.GET.get("by", "machine"))
    context: dict[str, Any] = {"form": form, "by": by, "ways": BY}
    if form.is_valid():
        found = _books(form)
        lines = ranked(found, by)
        most = max((abs(float(one.earned.profit)) for one in lines[:DRAWN]), default=0.0)
        context |= {
            "books": found,
            "rows": [(one, _bar(one, most)) for one in lines[:SHOWN]],
            "more": max(len(lines) - SHOWN, 0),
            "whole": whole(lines),
            "hours": tables.hours_shown(lines),
            "losing": sum(one.earned.profit < 0 for one in lines),
        }
    return render(request, "office/earnings/ranking.html", context, status=sent(form))


def export(request: PersonRequest) -> HttpResponse:
    """The whole of a ranking as a file."""
    form, by = _period(request), _by(request.GET.get("by", "machine"))
    if not form.is_valid():
        raise NotFound("give the first and the last day of the period")
    lines = ranked(_books(form), by)
    return sent_as_file(request, tables.earnings(lines, by, Business.the().time_zone))


def page(request: PersonRequest, by: str, pk: int) -> HttpResponse:
    """One of a ranking: what is left of its receipts, step by step, and what it is made of."""
    form, kind = _period(request), _by(by)
    context: dict[str, Any] = {"form": form, "by": kind, "key": pk}
    if form.is_valid():
        found = _books_of(form, kind, pk)
        line = next((one for one in ranked(found, kind) if one.key == pk), None)
        if line is None and kind == "machine":
            machine = machine_for(request.user, pk)
            line = Line(machine.pk, machine.asset_tag, "", Earned())
        if line is None:
            raise NotFound(f"there are no earnings of the {kind} {pk} in that time")
        context |= {
            "books": found,
            "line": line,
            "drawing": _steps(line),
            "costs": [(tables.WORDS[one], line.earned.cost(one)) for one in COSTS],
            "unknown": [tables.WORDS.get(one, one) for one in sorted(line.earned.unknown)],
            **_made_of(found, kind, pk),
        }
    return render(request, "office/earnings/page.html", context, status=sent(form))


def changes(request: PersonRequest, pk: int) -> HttpResponse:
    """What another product, price, rhythm of visits or place would change at a machine."""
    machine = machine_for(request.user, pk)
    found = levers_of(machine, now=timezone.now())
    context = {
        "machine": machine,
        "place": glances.places([machine]).get(machine.pk),
        "found": found,
        "prices": list(zip(found.prices, found.lost_at, strict=False)),
        "answer": found.swaps,
    }
    return render(request, "office/earnings/changes.html", context)


def settings(request: PersonRequest) -> HttpResponse:
    """What an hour, a way and a month cost, and how buyers are taken to mind a price."""
    kept = EarningsSettings.the()
    form = EarningsSettingsForm(request.POST or None, units=Business.the().units, row=kept)
    if request.method == "POST" and form.is_valid():
        done = tried(
            form,
            change_settings,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if done:
            messages.success(request, "Kept; every page of earnings holds to it.")
            return redirect("office:earnings-settings")
    context = {"form": form, "entries": audit.entries_of(kept)[:20]}
    return render(request, "office/earnings/settings.html", context, status=sent(form))


def _by(asked: str) -> By:
    for one in BY:
        if one == asked:
            return one
    raise NotFound(f"earnings are read by {', '.join(BY)}, not by {asked}")


def _period(request: PersonRequest) -> PeriodForm:
    """As asked; the last thirteen weeks unless somebody asks for others."""
    if "since" in request.GET or "until" in request.GET:
        return PeriodForm(request.GET)
    today = timezone.localdate(timezone.now(), Business.the().time_zone)
    since, until = usual_period(today)
    return PeriodForm({"since": since, "until": until - timedelta(days=1)})


def _books(form: PeriodForm) -> Books:
    given = form.cleaned_data
    return books(given["since"], given["until"] + timedelta(days=1))


def _books_of(form: PeriodForm, by: By, pk: int) -> Books:
    """The books of what has to do with a machine or a site: they tell what is not known of it,
    and are a part of the work that all are. What products and drivers bear is shared over all."""
    since, until = form.cleaned_data["since"], form.cleaned_data["until"] + timedelta(days=1)
    if by == "machine":
        return books(since, until, machines=[pk])
    if by == "site":
        return books(since, until, machines=machines_of_site(pk, since, until))
    return books(since, until)


def _made_of(found: Books, by: By, pk: int) -> dict[str, Any]:
    """The products of a machine, the machines of a site."""
    if by == "machine":
        kept, part = _narrowed(found, lambda machine, _: machine == pk), "product"
    elif by == "site":
        kept, part = _narrowed(found, lambda _, site: site == pk), "machine"
    else:
        return {}
    parts = ranked(kept, _by(part))
    return {"parts": parts, "part": part, "together": whole(parts).earned}


def _narrowed(found: Books, wanted: Any) -> Books:
    return replace(
        found,
        own={key: one for key, one in found.own.items() if wanted(*key[0])},
        of_place={key: one for key, one in found.of_place.items() if wanted(*key)},
    )


def _bar(line: Line, most: float) -> Any:
    said = currency.said(line.earned.profit.quantize(Decimal("0.01")), Business.the())
    return length(
        max(-1.0, min(1.0, float(line.earned.profit) / most)) * most if most else 0.0,
        most,
        ident=f"of-{line.key or 0}",
        title=f"{line.label}: profit",
        said=said,
    )


def _steps(line: Line) -> Any:
    """Receipts, each cost, what is left; as parts of receipts."""
    business, earned = Business.the(), line.earned
    whole = float(earned.receipts) or 1.0

    def said(amount: Decimal) -> str:
        return currency.said(amount.quantize(Decimal("0.01")), business)

    rows = [Step("receipts", said(earned.receipts), 0.0, float(earned.receipts) / whole, True)]
    left = float(earned.receipts)
    for name in COSTS:
        amount = earned.cost(name)
        if amount is None:
            rows.append(Step(tables.WORDS[name], "not known", None, None))
        elif amount:
            after = left - float(amount)
            rows.append(Step(tables.WORDS[name], said(-amount), left / whole, after / whole))
            left = after
    rows.append(Step("profit", said(earned.profit), 0.0, left / whole, True))
    text = ", ".join(f"{one.words} {one.said}" for one in rows)
    return steps(rows, ident="steps", title=f"What is left of {line.label}'s receipts", desc=text)
