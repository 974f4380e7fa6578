"""The pages behind a sticker: anybody reports a fault, and looks up what became of it.

Nobody signs in, no cookie is set, no script is needed, and nothing that a customer typed is ever
shown here again.
"""

from dataclasses import dataclass
from math import ceil

from axes.helpers import get_client_ip_address
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt

from office.doors import sent, tried
from office.forms.public import LookForm, ReportForm
from people import windows
from people.errors import NotFound
from people.models import Business
from service.tickets.actions import public
from service.tickets.models import Ticket
from service.tickets.queries.gates import ticket_by_reference
from service.tickets.queries.stickers import Withdrawn, site_of, sticker_for

HOUR_S = 3600
REPORTS_OF_ADDRESS = 10
REPORTS_OF_MACHINE = 20
LOOKS_OF_ADDRESS = 60
"""Each an hour. From experience; no published source."""
TOO_MANY = 429
GONE = 410
State = Ticket.State

BECAME = {
    State.NEW: "We have your report. Nobody has been sent yet.",
    State.GIVEN: "Somebody is to go there.",
    State.ON_SITE: "Somebody is working on it now.",
    State.WAITING: "The work waits for something, such as a part.",
    State.CLOSED: "Somebody has seen to it.",
    State.DROPPED: "It ended without work on the machine.",
}


@dataclass(frozen=True)
class Money:
    """What became of a refund, without for whom."""

    amount: object
    said: str


# Whoever posts here has no authority that another page could misuse, and a token would need a
# cookie.
@csrf_exempt
@never_cache
def report(request: HttpRequest, token: str) -> HttpResponse:
    """Report a fault of the machine on which the sticker hangs."""
    try:
        sticker = sticker_for(token)
    except Withdrawn:
        return render(request, "office/public/unknown.html", {"withdrawn": True}, status=GONE)
    except NotFound:
        return render(request, "office/public/unknown.html", status=404)
    machine = sticker.machine
    form = ReportForm(request.POST or None, request.FILES or None, machine=machine)
    if request.method == "POST" and form.is_valid():
        # The address first, so that one which is over its measure uses up nothing of a machine's.
        wait = _wait(f"report:{get_client_ip_address(request)}", REPORTS_OF_ADDRESS) or _wait(
            f"report:machine:{machine.pk}", REPORTS_OF_MACHINE
        )
        if wait:
            return _too_many(request, wait)
        reported = tried(form, public.report, sticker=sticker, said=form.said(), now=timezone.now())
        if reported:
            found = {"reference": reported.ticket.reference, "new": "yes"}
            # A page of its own, so that sending it once more reports nothing once more.
            return HttpResponseRedirect(f"{reverse('office:report-look')}?{urlencode(found)}")
    context = {"machine": machine, "site": site_of(machine), "form": form}
    return render(request, "office/public/report.html", context, status=sent(form))


@never_cache
def look(request: HttpRequest) -> HttpResponse:
    """What became of a report, by its reference: its state in words, and nothing about anybody."""
    form = LookForm(request.GET if "reference" in request.GET else None)
    ticket = None
    if form.is_bound and form.is_valid():
        wait = _wait(f"look:{get_client_ip_address(request)}", LOOKS_OF_ADDRESS)
        if wait:
            return _too_many(request, wait)
        try:
            ticket = ticket_by_reference(form.cleaned_data["reference"])
        except NotFound:
            form.add_error(
                "reference", "There is no report with this reference; look at it letter by letter."
            )
    context = {"form": form, "is_new": request.GET.get("new") == "yes", **_became(ticket)}
    return render(request, "office/public/look.html", context, status=sent(form))


def _became(ticket: Ticket | None) -> dict[str, object]:
    if ticket is None:
        return {}
    # A joined report goes on as the other one does.
    other = ticket.joined_to or ticket
    running = other.state in Ticket.OPEN and other.state != State.WAITING
    return {
        "ticket": ticket,
        "zone": Business.the().time_zone if other.site is None else other.site.time_zone,
        "reference": f"{ticket.reference[:4]} {ticket.reference[4:]}",
        "joined": ticket.joined_to is not None,
        "became": BECAME[State(other.state)],
        "promised_at": other.promised_at if running else None,
        "closed_at": other.closed_at,
        "refunds": [
            Money(one.amount, one.get_state_display())
            for one in ticket.refunds.order_by("wanted_at", "pk")
        ],
        "wants_answer": bool(ticket.contact_reach),
    }


def _wait(what: str, most: int) -> float:
    return windows.wait_s(f"public:{what}", most=most, window_s=HOUR_S)


def _too_many(request: HttpRequest, wait_s: float) -> HttpResponse:
    context = {"minutes": ceil(wait_s / 60)}
    response = render(request, "office/public/too_many.html", context, status=TOO_MANY)
    response["Retry-After"] = str(ceil(wait_s))
    return response
