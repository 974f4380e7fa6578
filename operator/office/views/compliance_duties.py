"""Duties: what is owed to authorities by when, seen to with its proof, and the rules behind it."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.compliance import (
    DutyFilter,
    DutyForm,
    DutyRuleForm,
    OpenDutyForm,
    SeenForm,
    WhyForm,
)
from people import audit
from people.errors import Unacceptable
from people.exports import within
from people.models import Business
from people.roles import Role
from service.compliance import duty_tables
from service.compliance.actions import duties, duty_rules, duty_turns
from service.compliance.models import Duty
from service.compliance.queries import gates
from service.compliance.queries.duties import counts, duties_listed, rules_listed
from service.compliance.queries.subjects import without_state
from service.tickets.serving import headers_of

from .upkeep import today

SHOWN = 200
DAYS = {"30": 30, "90": 90}


def listing(request: PersonRequest) -> HttpResponse:
    """What is owed, the first due first."""
    return _listing(request, SeenForm(initial={"done_on": today()}))


def export(request: PersonRequest) -> HttpResponse:
    """The list as a file, narrowed as its page is."""
    rows = _narrowed(request, DutyFilter(request.GET))
    return sent_as_file(request, duty_tables.duties(within(rows), Business.the().time_zone))


def record(request: PersonRequest) -> HttpResponse:
    """Write down that the duties chosen in the list were seen to, with one proof for all."""
    form = SeenForm(request.POST, request.FILES)
    chosen = [int(one) for one in request.POST.getlist("duties") if one.isdecimal()]
    if form.is_valid():
        found = list(Duty.objects.filter(pk__in=chosen[: duties.MOST_AT_ONCE + 1]))
        written = tried(form, duties.record, duties=found, **_seen(request, form))
        if written:
            count = len(written)
            messages.success(
                request, f"{count} dut{'y' if count == 1 else 'ies'} written down as seen to."
            )
            return redirect("office:duties")
    return _listing(request, form, chosen)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.duty_for(request.user, pk)
    return _page(request, found, SeenForm(initial={"done_on": today()}), WhyForm())


def seen(request: PersonRequest, pk: int) -> HttpResponse:
    """Write down that a duty was seen to."""
    found = gates.duty_for(request.user, pk)
    form = SeenForm(request.POST, request.FILES)
    if form.is_valid() and tried(form, duties.record, duties=[found], **_seen(request, form)):
        messages.success(request, f"{found}: seen to.")
        return redirect("office:duty", pk)
    return _page(request, gates.duty_for(request.user, pk), form, WhyForm())


def set_aside(request: PersonRequest, pk: int) -> HttpResponse:
    """Take back what was written down by mistake."""
    done = gates.done_for(request.user, pk)
    form = WhyForm(request.POST)
    given = {"done": done, "actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, duties.set_aside, why=form.cleaned_data["why"], **given):
        messages.success(request, f"{done.duty}: taken back, and open again.")
        return redirect("office:duty", done.duty_id)
    found = gates.duty_for(request.user, done.duty_id)
    return _page(request, found, SeenForm(initial={"done_on": today()}), form)


def drop(request: PersonRequest, pk: int) -> HttpResponse:
    """A duty by hand is not owed after all."""
    found = gates.duty_for(request.user, pk, write=True)
    form = WhyForm(request.POST)
    given = {"duty": found, "actor": request.user, "now": timezone.now()}
    if form.is_valid() and tried(form, duties.drop, why=form.cleaned_data["why"], **given):
        messages.success(request, f"{found}: no longer asked for.")
        return redirect("office:duties")
    return _page(request, found, SeenForm(initial={"done_on": today()}), form)


def edit(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Write down a duty that no rule asks for, or change an open one."""
    found = gates.duty_for(request.user, pk, write=True) if pk else None
    made = OpenDutyForm if found is not None and found.rule_id else DutyForm
    form = made(request.POST or None, units=Business.the().units, row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            duties.save_duty,
            duty=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:duty", saved.pk)
    context = {"duty": found, "form": form}
    return render(request, "office/compliance/edit_duty.html", context, status=sent(form))


def rules(request: PersonRequest) -> HttpResponse:
    """The rules that duties come from, by state, each with its source and how far it was
    checked."""
    context = {"rules": rules_listed(), "without_state": without_state()}
    return render(request, "office/compliance/duty_rules.html", context)


def load_packs(request: PersonRequest) -> HttpResponse:
    """Take in the rules of the packs that are not there yet."""
    now = timezone.now()
    new = duty_rules.load_packs(actor=request.user, now=now)
    worked = duty_turns.work_out(now=now)
    messages.success(request, f"{new} rules taken in; {worked.opened} duties opened.")
    return redirect("office:duty-rules")


def edit_rule(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Make a rule of our own, or change one."""
    found = gates.rule_for(request.user, pk, write=True) if pk else None
    form = DutyRuleForm(request.POST or None, units=Business.the().units, row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            duty_rules.save_rule,
            rule=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept; what is owed is worked out anew.")
            return redirect("office:duty-rules")
    context = {
        "rule": found,
        "form": form,
        "entries": audit.entries_of(found)[:20] if found else [],
    }
    return render(request, "office/compliance/edit_duty_rule.html", context, status=sent(form))


def evidence(request: PersonRequest, pk: int) -> HttpResponse:
    """A paper or a picture, as it is kept."""
    found = gates.evidence_for(request.user, pk)
    return HttpResponse(bytes(found.raw), content_type=found.media_type, headers=headers_of(found))


def _seen(request: PersonRequest, form: SeenForm) -> dict[str, Any]:
    given = form.cleaned_data
    told = duties.Seen(
        given["done_on"], given["valid_until"], given["number"] or "", given["note"] or ""
    )
    return {"seen": told, "file": form.proof(), "actor": request.user, "now": timezone.now()}


def _listing(
    request: PersonRequest, form: SeenForm, chosen: list[int] | None = None
) -> HttpResponse:
    asked = DutyFilter(request.GET)
    found = _narrowed(request, asked)
    rows = list(found[: SHOWN + 1])
    context = {
        "form": asked,
        "seen_form": form,
        "chosen": chosen or [],
        "duties": rows[:SHOWN],
        "more": found.count() - SHOWN if len(rows) > SHOWN else 0,
        "counts": counts(today()),
        "mine": counts(today(), request.user),
        "today": today(),
        "soon": today() + timedelta(days=30),
    }
    return render(request, "office/compliance/duties.html", context, status=sent(form))


def _page(request: PersonRequest, found: Duty, form: SeenForm, why_form: WhyForm) -> HttpResponse:
    before = Duty.objects.none()
    if found.rule_id:
        before = (
            duties_listed(state=Duty.State.DONE, rule=found.rule_id)
            .filter(site=found.site_id, machine=found.machine_id)
            .exclude(pk=found.pk)
        )
    keeps = request.user.has_role(Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)
    context = {
        "duty": found,
        "form": form,
        "why_form": why_form,
        "may_record": keeps or found.owner_id == request.user.pk,
        "before": before[:10],
        "today": today(),
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/compliance/duty.html", context, status=sent(form, why_form))


def _narrowed(request: PersonRequest, form: DutyFilter) -> "QuerySet[Duty]":
    given: dict[str, Any] = form.cleaned_data if form.is_valid() else {}
    asked = given.get("within") or "30"
    days = DAYS.get(asked)
    rule = request.GET.get("rule", "")
    if rule and not rule.isdecimal():
        raise Unacceptable("the rule is a number", fields={"rule": "the rule is a number"})
    return duties_listed(
        within=None if days is None else today() + timedelta(days=days),
        late=today() if asked == "late" else None,
        state=Duty.State.DONE if asked == "done" else "",
        kind=given.get("kind", ""),
        subject=given.get("subject", ""),
        rule=int(rule[:9]) if rule else None,
        owner=request.user if given.get("mine") else None,
        search=given.get("search", ""),
    )
