"""The dispatcher's board: open tickets beside the runs of a day, given on sight of the price."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString

from office.doors import CONFLICT, REFUSED, PersonRequest
from office.drawing.strips import ruler, scale_of, strip
from office.forms.board import FilterForm, GiveForm, TakeBackForm, ViewForm, day_asked
from people.errors import NotAllowed, Unable, Unacceptable
from people.policy import may
from people.refused import in_words
from service.runs.actions import dispatch, offers, views
from service.runs.models import Run
from service.runs.offered import Offer, Offers
from service.runs.queries import gates
from service.runs.queries.dispatch import (
    Card,
    Dispatch,
    Lane,
    card_of,
    digest_of,
    dispatch_board,
    last_event,
    open_ticket,
    profile_of,
    told_since,
    views_of,
)
from service.runs.queries.geo import stops_geojson, tickets_geojson
from service.tickets.models import Ticket
from service.tickets.queries import gates as ticket_gates
from service.tickets.queries.history import machine_history

from .runs import today

PAGE, PART, LANES = "office/board/page.html", "office/board/board.html", "office/board/lanes.html"
PAST_SHOWN = 6
GIVES = "give tickets on the board"
KEPT = ("search", "show", "urgency", "symptom", "depot", "day")


@dataclass(frozen=True)
class DrawnLane:
    """A lane with its drawing, and what the chosen ticket would mean for it."""

    lane: Lane
    drawing: SafeString | None
    offer: Offer | None
    is_best: bool


@dataclass(frozen=True)
class Chosen:
    """The ticket that is looked at: what it is, what came before, and what each driver offers."""

    card: Card
    offers: Offers
    past: Any


def page(request: PersonRequest) -> HttpResponse:
    """The whole board, or for htmx the part of it that is asked for."""
    return _shown(request, request.GET.get("ticket", ""))


def digest(request: PersonRequest) -> JsonResponse:
    """Whether the board is still as it was shown, and what others did since."""
    on = day_asked(request.GET, today())
    said = request.GET.get("since", "")
    since = int(said) if said.isascii() and said.isdecimal() and len(said) < 18 else None
    told = [] if since is None else told_since(since, but=request.user)
    return JsonResponse({"digest": digest_of(on), "last": last_event(), "told": told})


def give(request: PersonRequest) -> HttpResponse:
    """Put a ticket on a lane, as it was offered."""
    form = GiveForm(request.POST)
    if not form.is_valid():
        return _refused(request, Unacceptable("name a ticket and a lane of the board"))
    ticket = ticket_gates.ticket_for(request.user, form.cleaned_data["ticket"], write=True)
    what, key = form.to
    asked: dict[str, Any] = {"day": form.cleaned_data["day"]}
    if what == "run":
        asked["run"] = gates.run_for(request.user, key)
    else:
        asked["driver"] = profile_of(key)
    try:
        with in_words():
            done = dispatch.assign(
                ticket=ticket,
                actor=request.user,
                now=timezone.now(),
                seen=form.cleaned_data["seen"] or None,
                **asked,
            )
    except NotAllowed:
        raise
    except Unable as error:
        return _refused(request, error, ticket)
    said = f"{done.ticket.machine}: given to {done.ticket.given_to}; {done.change.said}."
    return _done(request, said)


def take_back(request: PersonRequest) -> HttpResponse:
    """Take a ticket off its run: nobody goes there any more."""
    form = TakeBackForm(request.POST)
    if not form.is_valid():
        return _refused(request, Unacceptable("say why nobody goes there any more"))
    ticket = ticket_gates.ticket_for(request.user, form.cleaned_data["ticket"], write=True)
    try:
        with in_words():
            dispatch.unassign(
                ticket=ticket,
                reason=form.cleaned_data["reason"],
                actor=request.user,
                now=timezone.now(),
                seen=form.cleaned_data["seen"] or None,
            )
    except NotAllowed:
        raise
    except Unable as error:
        return _refused(request, error, ticket)
    return _done(request, f"{ticket.machine}: nobody's again.")


def save_view(request: PersonRequest) -> HttpResponse:
    """Keep the filters that are set under a name."""
    form = ViewForm(request.POST)
    if form.is_valid():
        query = _kept(request.POST)
        name = form.cleaned_data["name"]
        views.save_view(name=name, query=query, actor=request.user, now=timezone.now())
        messages.success(request, f"The view {name} is kept.")
    else:
        messages.error(request, "Give the view a name of up to 40 letters.")
    return redirect(_address(request.POST))


def remove_view(request: PersonRequest, pk: int) -> HttpResponse:
    views.remove_view(key=pk, actor=request.user, now=timezone.now())
    messages.success(request, "The view is forgotten.")
    return redirect("office:board")


def on_map(request: PersonRequest) -> HttpResponse:
    """Open tickets and the day's runs on a map, beside the same as a list."""
    form = FilterForm(request.GET)
    on = day_asked(request.GET, today())
    shown = dispatch_board(on, form.filters(), now=timezone.now())
    cards = [card for group in shown.groups for card in group.cards]
    runs = Run.objects.filter(date=on, agreed=True).select_related("vehicle", "driver", "depot")
    places = [
        {"name": f"{run.vehicle.name} · {run.driver}", **stops_geojson(run)}
        for run in runs.select_related("depot__site").order_by("driver__name", "pk")
    ]
    context = {
        "board": shown,
        "on": on,
        "cards": cards,
        "query": _kept(request.GET),
        "places": [*places, {"name": "Tickets", **tickets_geojson(cards)}],
        "tiles": settings.MAP_TILES,
        "credit": settings.MAP_CREDIT,
    }
    return render(request, "office/board/map.html", context)


def _shown(
    request: PersonRequest,
    asked: str,
    *,
    refusal: Unable | None = None,
    status: int = 200,
) -> HttpResponse:
    now = timezone.now()
    given = request.POST if request.method == "POST" else request.GET
    form = FilterForm(given)
    on = day_asked(given, today())
    # Before the rows are read: what changes in between makes the next look find another digest.
    digest_before, last = digest_of(on), last_event()
    shown = dispatch_board(on, form.filters(), now=now)
    chosen = _chosen(request, shown, asked)
    scale = scale_of(shown.lanes, shown.day.zone)
    by_driver = chosen.offers.of_driver if chosen else {}
    best = chosen.offers.suggested if chosen else None
    context = {
        "board": shown,
        "on": on,
        "today": today(),
        "form": form,
        "views": views_of(request.user),
        "view_form": ViewForm(),
        "chosen": chosen,
        "back": TakeBackForm() if chosen and chosen.card.ticket.given_to_id else None,
        "lanes": [
            DrawnLane(
                lane,
                strip(lane, scale, now, by_driver.get(lane.driver.pk)) if scale else None,
                by_driver.get(lane.driver.pk),
                best is not None and best.driver.pk == lane.driver.pk,
            )
            for lane in shown.lanes
        ],
        "ruler": ruler(scale) if scale else None,
        "digest": digest_before,
        "last": last,
        "query": _kept(given),
        "can_give": may(request.user, GIVES),
        "refusal": refusal,
    }
    part = PAGE
    if request.headers.get("HX-Request"):
        part = LANES if request.headers.get("HX-Target") == "lanes" else PART
    response = render(request, part, context, status=status)
    response["Vary"] = "HX-Request, HX-Target, Cookie"
    return response


def _chosen(request: PersonRequest, shown: Dispatch, asked: str) -> Chosen | None:
    if not (asked.isascii() and asked.isdecimal() and len(asked) < 18):
        return None
    ticket = open_ticket(int(asked))
    if ticket is None:
        messages.info(request, "That ticket is no longer open.")
        return None
    now = shown.now
    card = shown.cards.get(ticket.pk) or card_of(ticket, now=now, zone=shown.day.zone)
    found = offers.preview(ticket=ticket, day=shown.day.date, now=now)
    past = [one for one in machine_history(ticket.machine) if one.ticket.pk != ticket.pk]
    return Chosen(card, found, past[:PAST_SHOWN])


def _refused(request: PersonRequest, error: Unable, ticket: Ticket | None = None) -> HttpResponse:
    """The board as it stands now, with the refusal above the ticket that was looked at."""
    status = REFUSED if isinstance(error, Unacceptable) else CONFLICT
    asked = "" if ticket is None else str(ticket.pk)
    return _shown(request, asked, refusal=error, status=status)


def _done(request: PersonRequest, said: str) -> HttpResponse:
    messages.success(request, said)
    if request.headers.get("HX-Request"):
        return _shown(request, "")
    return redirect(_address(request.POST))


def _kept(given: Any) -> str:
    """The filters of an address or a form, as they stand in an address."""
    return urlencode([(name, given[name]) for name in KEPT if given.get(name)])


def _address(given: Any) -> str:
    query = _kept(given)
    return f"{reverse('office:board')}{f'?{query}' if query else ''}"
