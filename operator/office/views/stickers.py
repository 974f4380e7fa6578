"""Stickers with a QR code for machines: chosen, made, printed."""

from dataclasses import dataclass

import segno
from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from fleet.machines.models import Machine
from office import glances
from office.doors import PersonRequest, desk_of
from service.tickets.actions import stickers
from service.tickets.actions.stickers import MOST_AT_ONCE
from service.tickets.models import Sticker
from service.tickets.queries.stickers import machines_with_stickers
from service.tickets.signed import token_of

SHOWN = 200


@dataclass(frozen=True)
class Label:
    """One sticker as it is printed."""

    machine: Machine
    address: str
    qr: SafeString


def listing(request: PersonRequest) -> HttpResponse:
    """Every machine in use, with or without a sticker; those chosen are made and printed."""
    search = request.GET.get("search", "").strip()
    rows = machines_with_stickers(search)
    chosen = _keys(request.GET)
    if chosen:
        rows = rows.filter(pk__in=chosen)
    shown = list(rows[:SHOWN])
    places = glances.places(set(shown))
    context = {
        "machines": [(one, places.get(one.pk)) for one in shown],
        "more": max(rows.count() - SHOWN, 0),
        "search": search,
        "chosen": chosen,
    }
    return render(request, "office/public/stickers.html", context)


def issue(request: PersonRequest) -> HttpResponse:
    """Make the stickers that are missing, or all anew, and show them to be printed."""
    anew = request.POST.get("anew") == "on"
    made = stickers.issue(
        machines=Machine.objects.filter(pk__in=_keys(request.POST)),
        actor=request.user,
        now=timezone.now(),
        anew=anew,
    )
    if anew:
        messages.success(request, "The stickers that hang there now are no longer in use.")
    query = "&".join(f"machine={one.machine_id}" for one in made)
    return redirect(f"{reverse('office:stickers-print')}?{query}")


def print_out(request: PersonRequest) -> HttpResponse:
    """Labels of the chosen machines that have a sticker, as they are printed and cut."""
    rows = (
        Sticker.objects.filter(machine__in=_keys(request.GET), withdrawn_at__isnull=True)
        .select_related("machine")
        .order_by("machine__asset_tag", "pk")[:MOST_AT_ONCE]
    )
    desk = settings.ADDRESS or desk_of(request)
    return render(
        request, "office/public/labels.html", {"labels": [_label(one, desk) for one in rows]}
    )


def _label(sticker: Sticker, desk: str) -> Label:
    address = desk + reverse("office:report-fault", args=[token_of(sticker.code)])
    # Medium: readable with 15 % of it scratched off (ISO/IEC 18004, level M).
    code = segno.make_qr(address, error="m", boost_error=False)
    drawn = code.svg_inline(omitsize=True, border=4, svgclass="qr", lineclass=None, title=address)
    # Drawn by the library from our own address; nobody's words are in it.
    return Label(sticker.machine, address, mark_safe(drawn))  # noqa: S308


def _keys(given: QueryDict) -> set[int]:
    return {int(key) for key in given.getlist("machine") if key.isdecimal() and len(key) < 19}
