"""Tickets at the desk: the list, one ticket with all that is known of it, its paper."""

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from office.doors import PersonRequest, part_or_page, sent, sent_as_file
from office.forms.tickets import ACTS, TicketActForm, TicketFilter
from office.paging import latest_of
from people import audit
from people.exports import within
from people.models import Business, Person
from service.tickets import tables
from service.tickets.models import Ticket
from service.tickets.queries import gates, listing
from service.tickets.queries.history import machine_history, repeats_of
from service.tickets.serving import headers_of
from service.tickets.states import Verb, may

SHOWN = 20
# Which acts stand open on the page, and which under a heading; all as far as the state allows.
FIRST = ("give", "take", "on_site", "resume")
LATER = ("wait", "hand_back", "join", "drop", "reopen")
# What is filled in by hand on the paper.
BLANKS = ("cause", "work", "minutes", "parts", "test vends, passed", "as left", "by, when")
OF_STATE = {
    "give": Verb.GIVE,
    "take": Verb.TAKE,
    "on_site": Verb.ON_SITE,
    "resume": Verb.RESUME,
    "wait": Verb.WAIT,
    "hand_back": Verb.HAND_BACK,
    "join": Verb.JOIN,
    "drop": Verb.DROP,
    "reopen": Verb.REOPEN,
    "change": Verb.CHANGE,
    "close": Verb.CLOSE,
}


def listing_page(request: PersonRequest) -> HttpResponse:
    """Tickets that pass the filter, the latest first; a request of htmx gets the table alone."""
    now = timezone.now()
    form, rows = _asked(request, now)
    page = latest_of(rows, request.GET, moment="reported_at")
    context = {
        "form": form,
        "page": page,
        "repeats": repeats_of(page.rows),
        "counted": rows.count(),
        "late": listing.late(gates.tickets_seen_by(request.user), now).count(),
        "unpaid": listing.unpaid(gates.refunds_seen_by(request.user)).count(),
        "now": now,
    }
    return part_or_page(
        request, "office/tickets/list_part.html", "office/tickets/list.html", context
    )


def export(request: PersonRequest) -> HttpResponse:
    """The list as a file, as it is narrowed."""
    _, rows = _asked(request, timezone.now())
    rows = rows.order_by("-reported_at", "-pk")
    return sent_as_file(request, tables.tickets(within(rows), Business.the().time_zone))


def page(request: PersonRequest, pk: int) -> HttpResponse:
    return ticket_page(request, gates.ticket_for(request.user, pk))


def paper(request: PersonRequest, pk: int) -> HttpResponse:
    """A ticket to take along: what is wrong, what to look at first, blanks for what was done."""
    ticket = gates.ticket_for(request.user, pk)
    context = {**about(ticket, request.user), "blanks": BLANKS}
    return render(request, "office/tickets/paper.html", context)


def attachment(request: PersonRequest, pk: int) -> HttpResponse:
    """A file of a ticket, as what it is."""
    found = gates.attachment_for(request.user, pk)
    return HttpResponse(bytes(found.raw), content_type=found.media_type, headers=headers_of(found))


def ticket_page(
    request: PersonRequest, ticket: Ticket, form: TicketActForm | None = None
) -> HttpResponse:
    """The page of a ticket, with what is refused of one of its forms."""
    forms = {
        verb: kind(ticket=ticket)
        for verb, kind in ACTS.items()
        if verb not in OF_STATE or may(OF_STATE[verb], ticket.state)
    }
    if form is not None:
        forms[form.verb] = form
    context = {
        **about(ticket, request.user),
        "forms": forms,
        "first": [forms[verb] for verb in FIRST if _offered(verb, forms, ticket, request.user)],
        "later": [forms[verb] for verb in LATER if _offered(verb, forms, ticket, request.user)],
        "may_close": may(Verb.CLOSE, ticket.state),
        "entries": audit.entries_of(ticket)[:SHOWN],
    }
    status = 200 if form is None else sent(form)
    return render(request, "office/tickets/ticket.html", context, status=status)


def about(ticket: Ticket, person: Person) -> dict[str, Any]:
    """What the page, the paper and the phone show of a ticket."""
    history = machine_history(ticket.machine, limit=SHOWN + 1)
    return {
        "ticket": ticket,
        "zone": Business.the().time_zone if ticket.site is None else ticket.site.time_zone,
        "now": timezone.now(),
        "work": getattr(ticket, "work", None),
        "checks": [line for line in ticket.symptom.first_checks.splitlines() if line.strip()],
        "causes": ticket.because.get("causes", []),
        "events": ticket.events.select_related("actor").order_by("at", "pk"),
        "refunds": ticket.refunds.select_related("ended_by", "asked_by"),
        "attachments": ticket.attachments.defer("raw").select_related("added_by"),
        "joined": ticket.joined.select_related("machine"),
        "history": [one for one in history if one.ticket.pk != ticket.pk][:SHOWN],
        "repeat_of": repeats_of([ticket]).get(ticket.pk),
        "sees_contact": gates.sees_contact(person, ticket),
    }


def _offered(verb: str, forms: dict[str, TicketActForm], ticket: Ticket, person: Person) -> bool:
    """Whether an act makes sense here; the action judges it all the same."""
    if verb not in forms:
        return False
    if verb == "take" and ticket.given_to_id not in (None, person.pk):
        return False
    if verb == "hand_back":
        return ticket.given_to_id is not None
    if verb == "on_site":
        return ticket.is_open and ticket.given_to_id in (None, person.pk)
    if verb == "join":
        into: Any = forms[verb].fields["into"]
        return into.queryset.exists()
    return True


def _asked(request: PersonRequest, now: datetime) -> "tuple[TicketFilter, QuerySet[Ticket]]":
    given = request.GET.copy()
    # What nobody asked otherwise is the work at hand, on the first page and on those after it.
    given.setdefault("state", "open")
    form = TicketFilter(given)
    form.is_valid()
    asked = form.cleaned_data
    rows = listing.matching(gates.tickets_seen_by(request.user), asked.get("search") or "")
    state = asked.get("state") or ""
    if state == "open":
        rows = listing.open_ones(rows)
    elif state == "late":
        rows = listing.late(rows, now)
    elif state:
        rows = rows.filter(state=state)
    if asked.get("urgency"):
        rows = rows.filter(urgency=asked["urgency"])
    if asked.get("nobody"):
        rows = rows.filter(given_to__isnull=True)
    for name in ("symptom", "site", "given_to"):
        if asked.get(name):
            rows = rows.filter(**{name: asked[name]})
    machine = request.GET.get("machine", "")
    if machine.isascii() and machine.isdecimal():
        rows = rows.filter(machine=int(machine[:18]))
    return form, rows
