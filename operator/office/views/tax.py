"""Sales tax for the accountant: what is due, the report of a period, returns and amendments."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from fleet.machines.models import Machine
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.tax import AmendForm, FileForm, ReportForm
from people import audit
from people.errors import NotFound, Unacceptable
from people.papers import as_pdf
from service.compliance import tax_tables
from service.compliance.actions import filing as filings
from service.compliance.models import Filing, TaxSettings
from service.compliance.queries.decals import held
from service.compliance.queries.filing import (
    due_periods,
    period_of,
    recomputed,
    since_filed,
    standing_filing,
    today,
)
from service.compliance.queries.tax import TaxReport, tax_report
from service.compliance.queries.tax_drill import line_of_machine, machines_of_line
from service.compliance.queries.tax_gates import filing_for
from service.compliance.sums.gathering import Period
from service.compute.tax.report import figures
from service.compute.tax.rules import ADVICE

from . import tax_shown


def listing(request: PersonRequest) -> HttpResponse:
    """Every period owed, with its due day and what was filed."""
    context = {
        "periods": due_periods(),
        "form": ReportForm(initial=ReportForm.this_quarter()),
        "advice": ADVICE,
        "settings": TaxSettings.the(),
        "today": today(),
    }
    return render(request, "office/tax/tax.html", context)


def preview(request: PersonRequest) -> HttpResponse:
    """The report of a period as the books stand now."""
    form = ReportForm(request.GET or ReportForm.this_quarter())
    if not form.is_valid():
        return render(request, "office/tax/report.html", {"form": form}, status=sent(form))
    made = _made(form)
    return _report(request, form, made, FileForm(initial={"seen": filings.digest_of(made)}))


def file(request: PersonRequest) -> HttpResponse:
    """File the period that the address names, as it was seen."""
    form = ReportForm(request.GET)
    if not form.is_valid():
        return render(request, "office/tax/report.html", {"form": form}, status=sent(form))
    given, said = form.cleaned_data, FileForm(request.POST)
    if said.is_valid():
        filed = tried(
            said,
            filings.file_period,
            state=given["state"],
            period=_period(form),
            actor=request.user,
            now=timezone.now(),
            **said.cleaned_data,
        )
        if filed:
            messages.success(request, f"{filed}: filed.")
            return redirect("office:tax-filing", filed.pk)
    return _report(request, form, _made(form), said)


def export(request: PersonRequest) -> HttpResponse:
    """The report as CSV, XLSX, PDF, or the paper of how each number was made."""
    form = ReportForm(request.GET)
    if not form.is_valid():
        raise Unacceptable(
            "name the period: starts_on and ends_on", fields={"starts_on": "missing"}
        )
    made = _made(form)
    title = tax_tables.report_title(form.cleaned_data["state"], made.gathered.period)
    return _written(request, figures(made.report), made.gathered.period, made.gathered.basis, title)


def line(request: PersonRequest) -> HttpResponse:
    """The sale intervals and reads that one line is made of."""
    form = ReportForm(request.GET)
    if not form.is_valid():
        raise Unacceptable(
            "name the period: starts_on and ends_on", fields={"starts_on": "missing"}
        )
    made = _made(form)
    number = request.GET.get("line", "")
    lines = made.report.lines
    if not _is_number(number) or not 0 < int(number) <= len(lines):
        raise NotFound(f"the report has lines 1 to {len(lines)}")
    chosen = lines[int(number) - 1]
    receipts = machines_of_line(chosen)
    tags = Machine.objects.in_bulk(list(receipts))
    machine = request.GET.get("machine", "")
    if machine and (not _is_number(machine) or int(machine) not in receipts):
        raise NotFound("the line holds nothing of such a machine")
    if not machine and len(receipts) == 1:
        machine = str(next(iter(receipts)))
    gathered = made.gathered
    context = {
        "line": tax_shown.lines(figures(made.report))[int(number) - 1],
        "number": number,
        "machines": [(tags.get(key), amount) for key, amount in receipts.items()],
        "machine": tags.get(int(machine)) if machine else None,
        "of_machine": line_of_machine(
            chosen,
            int(machine),
            gathered.period,
            basis=gathered.basis,
            rounding=made.report.rounding,
        )
        if machine
        else None,
        "period": gathered.period,
        "basis": TaxSettings.Basis(gathered.basis).label,
        "back": _query(form),
        "advice": ADVICE,
    }
    return render(request, "office/tax/line.html", context)


def _is_number(text: str) -> bool:
    """Whether a text is a number that may count rows: `²` is a digit and no number."""
    return text.isdecimal() and len(text) <= 18


def filing(request: PersonRequest, pk: int) -> HttpResponse:
    """A return as it was filed, and what has come to light since."""
    found = filing_for(request.user, pk)
    changes = since_filed(found)
    return _filing(request, found, AmendForm(initial={"seen": filings.digest_of(changes.now)}))


def filing_export(request: PersonRequest, pk: int) -> HttpResponse:
    found = filing_for(request.user, pk)
    title = tax_tables.filing_title(found)
    return _written(request, found.figures, period_of(found), found.basis, title)


def amend(request: PersonRequest, pk: int) -> HttpResponse:
    """File a period anew."""
    found = filing_for(request.user, pk, write=True)
    form = AmendForm(request.POST)
    if form.is_valid():
        amended = tried(
            form,
            filings.amend,
            filing=found,
            actor=request.user,
            now=timezone.now(),
            **form.cleaned_data,
        )
        if amended:
            messages.success(request, f"{amended}: filed; the first return stays as it was.")
            return redirect("office:tax-filing", amended.pk)
    return _filing(request, found, form)


def _made(form: ReportForm) -> TaxReport:
    given = form.cleaned_data
    return tax_report(_period(form), state=given["state"], basis=given["basis"])


def _period(form: ReportForm) -> Period:
    return Period(form.cleaned_data["starts_on"], form.cleaned_data["ends_on"])


def _query(form: ReportForm) -> str:
    given = form.cleaned_data
    return urlencode({name: given[name] or "" for name in given})


def _report(
    request: PersonRequest, form: ReportForm, made: TaxReport, said: FileForm
) -> HttpResponse:
    given, period = form.cleaned_data, made.gathered.period
    said_of = figures(made.report)
    filed = standing_filing(given["state"], period) if given["state"] else None
    context = {
        "form": form,
        "figures": said_of,
        "groups": tax_shown.groups(tax_shown.lines(said_of)),
        "totals": tax_shown.totals(said_of),
        "decals": held(said_of, period),
        "undecided": made.gathered.undecided,
        "notes": tax_shown.notes(said_of, made.gathered.undecided),
        "period": period,
        "basis": TaxSettings.Basis(made.gathered.basis).label,
        "query": _query(form),
        "filed": filed,
        "file_form": said,
        "may_file": bool(given["state"]) and not given["basis"] and period.ends_on <= today(),
        "is_over": period.ends_on <= today(),
        "advice": ADVICE,
    }
    return render(request, "office/tax/report.html", context, status=sent(said))


def _filing(request: PersonRequest, found: Filing, form: AmendForm) -> HttpResponse:
    changes = since_filed(found)
    amended_by = Filing.objects.filter(amends=found).first()
    context = {
        "filing": found,
        "figures": found.figures,
        "groups": tax_shown.groups(tax_shown.lines(found.figures)),
        "totals": tax_shown.totals(found.figures),
        "decals": held(found.figures, period_of(found)),
        "undecided": None if amended_by else changes.now.gathered.undecided,
        "notes": found.figures["said"],
        "changes": None if amended_by else changes,
        "changed": [
            list(zip(tax_tables.CHANGED_HEAD, cells, strict=True))
            for cells in tax_tables.changed_rows(changes)
        ],
        "changed_head": tax_tables.CHANGED_HEAD,
        "recomputed": recomputed(found),
        "amended_by": amended_by,
        "form": form,
        "basis": TaxSettings.Basis(found.basis).label,
        "entries": audit.entries_of(found)[:20],
        "back": f"{reverse('office:tax-report')}?"
        + urlencode({"state": found.state, "starts_on": found.starts_on, "ends_on": found.ends_on}),
        "advice": ADVICE,
    }
    return render(request, "office/tax/filing.html", context, status=sent(form))


def _written(
    request: PersonRequest, said: dict[str, Any], period: Period, basis: str, title: str
) -> HttpResponse:
    asked = request.GET.get("as", "csv")
    if asked in ("pdf", "how"):
        make = tax_tables.report_paper if asked == "pdf" else tax_tables.how_paper
        paper = as_pdf(make(said, period, basis, title=title))
        return HttpResponse(paper.content, content_type=paper.media_type, headers=paper.headers)
    return sent_as_file(request, tax_tables.report_table(said, title))
