"""A driver's tickets on the phone: mine and nobody's, one of them, each act, a fault reported."""

from collections.abc import Callable, Mapping
from functools import partial

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from fleet.inventory.models import StockPlace
from fleet.machines.models import Machine
from fleet.machines.queries.gates import machine_for
from office.doors import PersonRequest, sent
from office.forms.acts import ActForm
from office.forms.road_tickets import ACTS, CloseAct, ReportAct
from office.road_doors import as_answer, by_script, carry_out, road_page
from people.errors import NotFound
from people.models import Business, Person
from service.runs.queries import day
from service.tickets.actions import told
from service.tickets.models import Ticket
from service.tickets.queries import gates, listing
from service.tickets.states import Verb, may

from .tickets import about

MOST = 100
DO: Mapping[str, Callable[..., told.Answer]] = {
    "take": told.take,
    "on_site": told.on_site,
    "hand_back": told.hand_back,
    "wait": told.wait,
    "resume": told.resume,
    "note": told.note,
    "photo": told.photo,
    "close": told.close,
}


def my_tickets(request: PersonRequest) -> HttpResponse:
    """What one has to see to, the most pressing first; then what nobody has taken."""
    rows = list(listing.to_see_to(request.user)[:MOST])
    context = {
        "mine": [one for one in rows if one.given_to_id == request.user.pk],
        "nobodys": [one for one in rows if one.given_to_id is None],
        "now": timezone.now(),
    }
    return road_page(request, "office/road/tickets.html", context)


def ticket_page(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, gates.ticket_for(request.user, pk))


def ticket_act(request: PersonRequest, pk: int, verb: str) -> HttpResponse:
    """One act; without a script the page comes back."""
    ticket = gates.ticket_to_tell_of(request.user, pk)
    form = _form(ticket, verb, request)
    if form.is_valid():
        carry_out(request, form, partial(DO[verb], ticket=ticket, **form.given()))
    if by_script(request):
        return as_answer(form)
    if form.errors:
        return _page(request, ticket, form)
    messages.success(request, f"{form.said}: kept.")
    if verb in {"close", "hand_back"}:
        return redirect("office:road-tickets")
    return redirect("office:road-ticket", pk)


def report(request: PersonRequest, pk: int) -> HttpResponse:
    """A fault of the machine that one stands before; what is open there is shown beside it."""
    machine = machine_for(request.user, pk)
    posted = request.method == "POST"
    form = ReportAct(
        request.POST if posted else None, request.FILES if posted else None, machine=machine
    )
    if posted and form.is_valid():
        carry_out(request, form, partial(told.report, machine=machine, **form.given()))
    if posted and by_script(request):
        return as_answer(form)
    if posted and not form.errors:
        messages.success(request, f"{form.said}: kept.")
        return redirect("office:road-tickets")
    context = {
        "machine": machine,
        "form": form,
        "open_here": open_at(request.user, machine),
        "now": timezone.now(),
    }
    return road_page(request, "office/road/report.html", context, status=sent(form))


def open_at(person: Person, machine: Machine) -> list[Ticket]:
    """Open tickets of a machine that this person sees to, or nobody yet."""
    return list(listing.to_see_to(person).filter(machine=machine)[:MOST])


def _page(request: PersonRequest, ticket: Ticket, form: ActForm | None = None) -> HttpResponse:
    forms: dict[str, ActForm] = {verb: kind() for verb, kind in ACTS.items()}
    forms["close"] = CloseAct(ticket=ticket, initial={"place": _truck(request.user)})
    if form is not None:
        forms[form.verb] = form
    mine = ticket.given_to_id == request.user.pk
    free = ticket.given_to_id is None
    context = {
        **about(ticket, request.user),
        "forms": forms,
        "mine": mine,
        "may_take": may(Verb.TAKE, ticket.state) and (free or (mine and not ticket.taken_at)),
        "may_begin": ticket.is_open and ticket.state != Ticket.State.ON_SITE and (mine or free),
        "may_close": ticket.is_open and (mine or free),
        "may_wait": may(Verb.WAIT, ticket.state) and mine,
        "may_resume": may(Verb.RESUME, ticket.state) and mine,
        "may_hand_back": may(Verb.HAND_BACK, ticket.state) and mine,
    }
    status = 200 if form is None else sent(form)
    return road_page(request, "office/road/ticket.html", context, status=status)


def _form(ticket: Ticket, verb: str, request: PersonRequest) -> ActForm:
    if verb == CloseAct.verb:
        return CloseAct(request.POST, request.FILES, ticket=ticket)
    if verb not in ACTS:
        raise NotFound(f"there is no act {verb} on a ticket")
    return ACTS[verb](request.POST, request.FILES)


def _truck(person: Person) -> StockPlace | None:
    """The truck of the run that one drives today; its parts are at hand."""
    today = timezone.localdate(timezone.now(), Business.the().time_zone)
    run = next(iter(day.my_runs(person, today)), None)
    return None if run is None else run.vehicle.truck
