"""Who works here, and the business's own settings."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office import tasks
from office.doors import PersonRequest, desk_of, sent, tried
from office.forms.people import BusinessForm, PersonForm
from people import audit
from people.actions import business as businesses
from people.actions import people
from people.models import Business, Person
from people.queries import people_seen_by, person_for


def _welcome(request: PersonRequest) -> people.Letter:
    """Has the worker send somebody the letter that lets them in."""
    desk = desk_of(request)

    def letter(person: Person) -> None:
        tasks.send_letter.delay(person.pk, "welcome", desk)

    return letter


def listing(request: PersonRequest) -> HttpResponse:
    everybody = people_seen_by(request.user).order_by("-is_active", "name", "pk")
    return render(request, "office/people/list.html", {"people": everybody})


def add(request: PersonRequest) -> HttpResponse:
    """Add somebody; a letter lets them set a password of their own."""
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        added = tried(
            form,
            people.add,
            **form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
            letter=_welcome(request),
        )
        if added:
            messages.success(
                request, f"{added.name} is added; a letter to {added.email} lets them in."
            )
            return redirect("office:people")
    return render(request, "office/people/add.html", {"form": form}, status=sent(form))


def page(request: PersonRequest, pk: int) -> HttpResponse:
    """One person: their facts, their devices, what was done to their row."""
    person = person_for(request.user, pk, write=True)
    form = PersonForm(request.POST or None, person=person)
    if request.method == "POST" and form.is_valid():
        changed = tried(
            form,
            people.change,
            person=person,
            changes=form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        )
        if changed:
            messages.success(request, f"{changed.name}: kept.")
            return redirect("office:person", pk)
    context = {
        "person": person,
        "form": form,
        "tokens": person.device_tokens.select_related("revoked_by"),
        "entries": audit.entries_of(person)[:50],
        "now": timezone.now(),
    }
    return render(request, "office/people/person.html", context, status=sent(form))


def let_go(request: PersonRequest, pk: int) -> HttpResponse:
    person = people.let_go(
        person=person_for(request.user, pk, write=True),
        actor=request.user,
        now=timezone.now(),
        reason=request.POST.get("reason", ""),
    )
    messages.success(request, f"{person.name} no longer works here and can no longer sign in.")
    return redirect("office:person", pk)


def take_back(request: PersonRequest, pk: int) -> HttpResponse:
    person = people.take_back(
        person=person_for(request.user, pk, write=True), actor=request.user, now=timezone.now()
    )
    messages.success(request, f"{person.name} works here again.")
    return redirect("office:person", pk)


def send_letter(request: PersonRequest, pk: int) -> HttpResponse:
    """Send the letter with the link again: the first may be lost, or an hour old."""
    person = person_for(request.user, pk, write=True)
    _welcome(request)(person)
    messages.success(request, f"A letter is on its way to {person.email}.")
    return redirect("office:person", pk)


def business(request: PersonRequest) -> HttpResponse:
    the = Business.the()
    form = BusinessForm(request.POST or None, units="mm", row=the)
    if request.method == "POST" and form.is_valid():
        changed = tried(
            form,
            businesses.change,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if changed:
            messages.success(request, "The settings are kept.")
            return redirect("office:business")
    context = {"form": form, "entries": audit.entries_of(the)[:50]}
    return render(request, "office/people/business.html", context, status=sent(form))
