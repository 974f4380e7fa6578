"""Audit reads: handed in, waiting in the tray, and what each one said."""

from collections import Counter
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.models import Machine
from fleet.sales.actions import decisions, rematch, tray
from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.models import AuditRead, EventOccurrence, MachineInterval, SaleInterval
from fleet.sales.queries.events import MeaningBook
from fleet.sales.queries.gates import read_for, reads_seen_by, sees_takings
from fleet.sales.queries.reads import report_of
from fleet.sales.queries.waiting import WITHOUT_A_MACHINE, Alike, pile, piles
from office.doors import PersonRequest, sent, tried
from office.forms.reads import DecisionForm, EpochForm, MatchForm, UploadForm
from people import audit
from people.errors import NotFound

SIZE = 50
MOST_OF_A_PILE = 200
MOST_TOLD = 100


def listing(request: PersonRequest) -> HttpResponse:
    """The tray first: what waits for a person; then the latest reads."""
    return _listing(request, UploadForm())


def upload(request: PersonRequest) -> HttpResponse:
    """Take in files; each one's fate is said."""
    form = UploadForm(request.POST, request.FILES)
    if not form.is_valid():
        return _listing(request, form)
    outcomes = receive(
        files=[ReceivedFile(name=one.name, data=one.read()) for one in form.cleaned_data["files"]],
        source=AuditRead.Source.OFFICE,
        actor=request.user,
        now=timezone.now(),
    )
    return render(request, "office/reads/outcomes.html", {"outcomes": outcomes})


def page(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, read_for(request.user, pk))


def match(request: PersonRequest, pk: int) -> HttpResponse:
    form = MatchForm(request.POST, prefix="match")
    return _decide(request, pk, tray.match, match=form)


def accept(request: PersonRequest, pk: int) -> HttpResponse:
    form = DecisionForm(request.POST, prefix="accept")
    return _decide(request, pk, tray.accept, accept=form)


def set_aside(request: PersonRequest, pk: int) -> HttpResponse:
    form = DecisionForm(request.POST, prefix="aside")
    return _decide(request, pk, tray.set_aside, aside=form)


def decide(request: PersonRequest, pk: int) -> HttpResponse:
    """How a device's counters are taken in the interval that ends at this read."""
    read = read_for(request.user, pk, write=True)
    interval = MachineInterval.objects.filter(to_read=read).select_related("machine").first()
    if interval is None:
        raise NotFound(f"no interval ends at {read}")
    form = EpochForm(request.POST)
    if form.is_valid() and tried(
        form,
        decisions.decide_epoch,
        interval=interval,
        **form.cleaned_data,
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "The interval is cut anew by your decision.")
        return redirect("office:read", pk)
    return _page(request, read_for(request.user, pk), epoch=form)


def match_again(request: PersonRequest) -> HttpResponse:
    """Look for the machine of every read that waits for want of one."""
    changed = rematch.match_again(actor=request.user, now=timezone.now())
    if not changed:
        messages.info(
            request, "None found its machine. Enter the machine, or its serials, and match again."
        )
        return redirect("office:reads")
    of = Counter(str(read.machine) for read in changed)
    said = ", ".join(f"{tag} ({count})" for tag, count in sorted(of.items()))
    many = len(changed)
    damaged = sum(read.state == AuditRead.State.WAITING for read in changed)
    text = f"{many} read{'s' if many > 1 else ''} found {'their' if many > 1 else 'its'} machine: "
    text += said + "."
    if damaged:
        text += f" {damaged} of them still wait{'s' if damaged == 1 else ''}: damaged."
    messages.success(request, text)
    return redirect("office:reads")


def _listing(request: PersonRequest, form: UploadForm) -> HttpResponse:
    rows = reads_seen_by(request.user).order_by("-pk")
    asked = request.GET
    machine = _machine(asked.get("machine", ""))
    if machine:
        rows = rows.filter(machine=machine)
    below = asked.get("below", "")
    if below.isdecimal():
        rows = rows.filter(pk__lt=int(below))
    # "why" names one pile of the tray, and then nothing else is shown.
    alike = _alike(asked, machine) if "why" in asked else None
    found = [] if alike else list(rows[: SIZE + 1])
    heaps = (
        [one for one in piles(request.user) if machine is None or one.machine == machine]
        if alike is None
        else []
    )
    context = {
        "form": form,
        "machine": machine,
        "alike": alike,
        "pile": pile(request.user, alike)[:MOST_OF_A_PILE] if alike else [],
        "piles": heaps,
        "without_machine": any(one.alike.why in WITHOUT_A_MACHINE for one in heaps)
        or (alike is not None and alike.why in WITHOUT_A_MACHINE),
        "reads": found[:SIZE],
        "below": found[SIZE - 1].pk if len(found) > SIZE else None,
        "first_page": not below,
    }
    return render(request, "office/reads/list.html", context, status=sent(form))


def _machine(key: str) -> Machine | None:
    return Machine.objects.filter(pk=int(key)).first() if key.isdecimal() else None


def _alike(asked: QueryDict, machine: Machine | None) -> Alike:
    return Alike(
        machine=machine.pk if machine else None,
        asset=asked.get("asset", ""),
        serial=asked.get("serial", ""),
        board=asked.get("board", ""),
        why=asked.get("why", ""),
    )


def _decide(request: PersonRequest, pk: int, action: Any, **named: forms.Form) -> HttpResponse:
    read = read_for(request.user, pk, write=True)
    ((name, form),) = named.items()
    if form.is_valid() and tried(
        form, action, read=read, **form.cleaned_data, actor=request.user, now=timezone.now()
    ):
        messages.success(request, f"{read}: {read_for(request.user, pk).get_state_display()}.")
        return redirect("office:read", pk)
    return _page(request, read_for(request.user, pk), **{name: form})


def _told(read: AuditRead) -> list[tuple[EventOccurrence, str]]:
    """What this read was the first to tell, with its meaning for the machine's kind."""
    if read.machine is None:
        return []
    book = MeaningBook()
    kind = read.machine.kind_id
    found = read.occurrences.order_by("happened_at", "pk")[:MOST_TOLD]
    return [(one, book.of(one.code, one.base, kind).words) for one in found]


def _lines_shown(interval: MachineInterval) -> list[SaleInterval]:
    """The lines by column. What no selection accounts for is shown if the page has a figure of it.

    It may stand there for cash alone, which many machines count but do not tell apart.
    """
    lines = interval.lines.select_related("column__position", "set_up__product").order_by(
        "is_unassigned", "column__position__order", "selection_code", "pk"
    )
    return [
        line
        for line in lines
        if not line.is_unassigned
        or any((line.paid_units, line.paid_minor, line.free_units, line.test_units))
    ]


def _page(request: PersonRequest, read: AuditRead, **given: forms.Form) -> HttpResponse:
    named = {
        "match": MatchForm(prefix="match", initial={"machine": read.machine}),
        "accept": DecisionForm(prefix="accept"),
        "aside": DecisionForm(prefix="aside"),
        "epoch": EpochForm(),
        **given,
    }
    # What a machine took is not for everybody who may see that its read came in.
    money = sees_takings(request.user)
    cut = MachineInterval.objects.filter(to_read=read).select_related("from_read")
    interval = cut.first() if money else None
    context = {
        "read": read,
        "forms": named,
        "interval": interval,
        "lines": _lines_shown(interval) if interval else [],
        "fresh": [one for one in interval.devices if one.get("state") == "new_epoch"]
        if interval
        else [],
        "sees_takings": money,
        "report": report_of(read) if money else None,
        "told": _told(read),
        "entries": audit.entries_of(read)[:20],
    }
    status = sent(*named.values())
    return render(request, "office/reads/read.html", context, status=status)
