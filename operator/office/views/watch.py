"""What the watch found: the list, a finding with its evidence, how good it is, its limits."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office import glances
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.drawing.watch import evidence
from office.forms.watch import (
    DismissForm,
    FindingsForm,
    ToTicketForm,
    WatchLimitsForm,
    WatchRuleForm,
)
from people import audit
from people.exports import within
from people.models import Business
from service.watch import tables
from service.watch.actions import findings as acting
from service.watch.actions import looks, rules
from service.watch.models import Finding, Look, WatchLimits, WatchRule
from service.watch.queries import gates, listing
from service.watch.queries.quality import quality as measured

SHOWN = 100
LOOKS_SHOWN = 12
DAYS = 90
CHARTS = {
    "expected_and_sold": "Units a day: bars are sold, the dash-dotted line was expected. Dashed "
    "bars ran dry, by the machine's own word.",
    "vended_and_missing": "By each count: bars drawn through are vended, dashed ones went without "
    "a vend.",
    "bags": "Each bag against the meter: above the line too much, below it, dashed, too little.",
    "temperature": "Readings of the cabinet; the dash-dotted line is the limit.",
    "clock": "The machine's clock less the moment the read came in, in minutes. A file that waited "
    "makes a clock look behind, never ahead.",
}


def listing_page(request: PersonRequest) -> HttpResponse:
    """Findings, the strongest first, and when the fleet was last looked at."""
    form = FindingsForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    rows = listing.listed(**asked)
    found = list(rows[: SHOWN + 1])
    context = {
        "form": form,
        "findings": found[:SHOWN],
        "more": len(found) > SHOWN,
        "places": glances.places([one.machine for one in found]),
        "counts": listing.counts(),
        "last": listing.last_whole(),
        "running": Look.objects.filter(state=Look.State.RUNNING).first(),
        "asked": any(asked.values()),
    }
    return render(request, "office/watch/findings.html", context)


def export(request: PersonRequest) -> HttpResponse:
    """The list as a file, as it is narrowed."""
    form = FindingsForm(request.GET)
    rows = listing.listed(**(form.cleaned_data if form.is_valid() else {}))
    return sent_as_file(request, tables.findings(within(rows), Business.the().time_zone))


def finding(request: PersonRequest, pk: int) -> HttpResponse:
    return _finding(request, gates.finding_for(request.user, pk))


def _finding(request: PersonRequest, found: Finding, **forms: Any) -> HttpResponse:
    chart = found.evidence.get("chart", {})
    ticket_form = forms.get("ticket_form") or ToTicketForm(prefix="ticket")
    dismiss_form = forms.get("dismiss_form") or DismissForm(prefix="dismiss")
    context = {
        "finding": found,
        "place": glances.places([found.machine]).get(found.machine_id),
        "chart": evidence(
            chart, ident="evidence", title=f"{found.get_kind_display()}: {found.said}"
        ),
        "chart_said": CHARTS.get(chart.get("kind", ""), ""),
        "figures": figures(found.evidence.get("numbers", {})),
        "verdict": getattr(found, "verdict", None),
        "taught": listing.taught(found, now=timezone.now()),
        "is_open": found.state == Finding.State.OPEN,
        "ticket_form": ticket_form,
        "dismiss_form": dismiss_form,
        "entries": audit.entries_of(found)[:20],
    }
    status = sent(ticket_form, dismiss_form)
    return render(request, "office/watch/finding.html", context, status=status)


UNITS = (
    ("_usual_days", "usual days"),
    ("_days", "days"),
    ("_units", "units"),
    ("_minutes", "min"),
    ("_c", "°C"),
)


def figures(numbers: dict[str, Any]) -> list[tuple[str, str]]:
    """Figures of the evidence by name, as a reader takes them; what is not known is left out."""
    found = []
    places = Business.the().currency_exponent
    for name, value in numbers.items():
        if value is None or value == "":
            continue
        words, text = name.replace("_", " "), _figure(name, value, places)
        for ending, unit in UNITS:
            if name.endswith(ending) and not isinstance(value, bool):
                words, text = name.removesuffix(ending).replace("_", " "), f"{text} {unit}"
                break
        found.append((words.removesuffix(" minor").replace(" minor ", " "), text))
    return found


def _figure(name: str, value: Any, places: int) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.replace("_", " ")
    if "minor" in name.split("_"):
        return f"{value / 10**places:,.{places}f}"
    if name.startswith(("chance", "false_share")):
        return f"{value:.2g}"
    if name.startswith(("share", "sold_before")):
        return f"{value:.0%}"
    return f"{value:,}" if isinstance(value, int) else f"{value:,.2f}"


def to_ticket(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.finding_for(request.user, pk, write=True)
    form = ToTicketForm(request.POST, prefix="ticket")
    if form.is_valid():
        ticket = tried(
            form,
            acting.to_ticket,
            finding=found,
            actor=request.user,
            now=timezone.now(),
            **form.cleaned_data,
        )
        if ticket:
            messages.success(request, f"Ticket {ticket.reference} is made of it.")
            return redirect("office:finding", pk)
    return _finding(request, found, ticket_form=form)


def dismiss(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.finding_for(request.user, pk, write=True)
    form = DismissForm(request.POST, prefix="dismiss")
    if form.is_valid():
        done = tried(
            form,
            acting.dismiss,
            finding=found,
            actor=request.user,
            now=timezone.now(),
            **form.cleaned_data,
        )
        if done:
            messages.success(request, "Dismissed.")
            return redirect("office:watch")
    return _finding(request, found, dismiss_form=form)


def start_look(request: PersonRequest) -> HttpResponse:
    """Go through the numbers of the whole fleet, now."""
    begun = looks.start(over=Look.Over.ASKED, actor=request.user, now=timezone.now())
    messages.success(request, "The numbers are being gone through.")
    return redirect("office:look", begun.pk)


def look(request: PersonRequest, pk: int) -> HttpResponse:
    found = gates.look_for(request.user, pk)
    context = {
        "look": found,
        "parts": found.parts.defer("seen").order_by("number"),
        "findings": gates.findings_whole().filter(look=found).order_by("-strength", "pk")[:SHOWN],
    }
    return render(request, "office/watch/look.html", context)


def quality(request: PersonRequest) -> HttpResponse:
    """How good the watch was: found, false, delay, and the latest looks."""
    context = {
        "days": DAYS,
        "quality": measured(now=timezone.now(), days=DAYS),
        "looks": gates.looks_whole()
        .exclude(over=Look.Over.NEWS)
        .order_by("-started_at", "-pk")[:LOOKS_SHOWN],
        "news": Look.objects.filter(
            over=Look.Over.NEWS, started_at__gt=timezone.now() - timedelta(days=1)
        ).count(),
    }
    return render(request, "office/watch/quality.html", context)


def limits(request: PersonRequest) -> HttpResponse:
    form = WatchLimitsForm(request.POST or None, units=Business.the().units, row=WatchLimits.the())
    if request.method == "POST" and form.is_valid():
        kept = tried(
            form,
            rules.change_limits,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if kept:
            messages.success(request, "The limits are kept; the next look holds to them.")
            return redirect("office:watch-limits")
    return _limits(request, form, None)


def save_rule(request: PersonRequest) -> HttpResponse:
    """Add the rule for a kind of finding, or change it where there is one."""
    kind = request.POST.get("rule-kind", "")
    row = WatchRule.objects.filter(kind=kind).first()
    form = WatchRuleForm(request.POST, units=Business.the().units, prefix="rule")
    if form.is_valid():
        kept = tried(
            form,
            rules.save_rule,
            rule=row,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if kept:
            messages.success(request, f"{kept}: kept.")
            return redirect("office:watch-limits")
    shown = WatchLimitsForm(units=Business.the().units, row=WatchLimits.the())
    return _limits(request, shown, form)


def remove_rule(request: PersonRequest, pk: int) -> HttpResponse:
    rule = gates.rule_for(request.user, pk, write=True)
    said = str(rule)
    rules.remove_rule(rule=rule, actor=request.user, now=timezone.now())
    messages.success(request, f"{said}: removed; such findings wait for somebody again.")
    return redirect("office:watch-limits")


def _limits(
    request: PersonRequest, form: WatchLimitsForm, rule_form: WatchRuleForm | None
) -> HttpResponse:
    shown = rule_form or WatchRuleForm(units=Business.the().units, prefix="rule")
    context = {
        "form": form,
        "rule_form": shown,
        "rules": WatchRule.objects.select_related("symptom").order_by("kind", "pk"),
        "entries": audit.entries_of(WatchLimits.the())[:20],
    }
    return render(request, "office/watch/limits.html", context, status=sent(form, shown))
