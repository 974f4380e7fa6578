"""Due maintenance in a calendar of one's own."""

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache

from office.doors import PersonRequest, desk_of, sent, tried
from office.forms.upkeep import CalendarForm
from people.models import Business
from service.compliance.calendar_events import events_of
from service.compliance.queries.duties import duties_shown
from service.upkeep.actions import calendars
from service.upkeep.feed import calendar
from service.upkeep.models import CalendarAddress
from service.upkeep.queries import gates
from service.upkeep.queries.feed import turns_shown

from .upkeep import today


@never_cache
def page(request: PersonRequest) -> HttpResponse:
    """A person's addresses; a new one is shown this once."""
    form = CalendarForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = tried(
            form,
            calendars.make,
            person=request.user,
            actor=request.user,
            now=timezone.now(),
            **form.cleaned_data,
        )
        if made:
            address, secret = made
            path = reverse("office:calendar-feed", args=[secret])
            context = {"address": address, "secret": f"{desk_of(request)}{path}"}
            return render(request, "office/upkeep/calendar_secret.html", context)
    rows = gates.addresses_of(request.user)
    others = any(one.person_id != request.user.pk for one in rows)
    context = {"form": form, "addresses": rows, "others": others}
    return render(request, "office/upkeep/calendars.html", context, status=sent(form))


def revoke(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.address_for(request.user, pk)
    calendars.revoke(address=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found.name}: the address opens nothing any more.")
    return redirect("office:calendars")


def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """The calendar of a secret address, for a program that signs in nowhere."""
    address = calendars.opened_by(secret=secret, now=timezone.now())
    if address is None:
        raise Http404
    made = _made(address)
    answer = HttpResponse(made, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'inline; filename="upkeep.ics"'
    answer["Cache-Control"] = "private, max-age=900"
    answer["Referrer-Policy"] = "no-referrer"
    return answer


def _made(address: CalendarAddress) -> bytes:
    business = Business.the()
    whose = address.person.name if address.shows == CalendarAddress.Shows.MINE else business.name
    desk = settings.DESK_ADDRESS
    everybodys = address.shows == CalendarAddress.Shows.ALL
    duties = duties_shown(address.person, today(), everybodys=everybodys)
    return calendar(
        turns_shown(address, today()),
        name=f"Upkeep, {whose}",
        desk=desk,
        more=events_of(duties, desk=desk),
    )
