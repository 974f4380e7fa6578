"""Agreements with hosts; statements previewed, issued, corrected, paid, and mailed."""

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales import money_tables
from fleet.sales.actions import commission as actions
from fleet.sales.actions.agreements import save_agreement
from fleet.sales.models import Agreement, Statement
from fleet.sales.papers import CLASS_WORDS, carried_over, statement_paper
from fleet.sales.previews import Preview
from fleet.sales.queries.commission import (
    agreement_for,
    agreements,
    owed,
    statement_for,
    statements,
)
from fleet.sales.terms import said, terms_from
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.commission import (
    AgreementForm,
    CorrectForm,
    DayForm,
    IssueForm,
    PayForm,
    RunForm,
)
from people import audit
from people.exports import within
from people.models import Business
from people.papers import as_pdf
from service.compliance import statements as runs

SHOWN = 100
IN_MONEY = ("receipts", "base", "commission", "minimum_added", "amount")


def listing(request: PersonRequest) -> HttpResponse:
    """What is owed and paid, the agreements, and the latest statements."""
    return _listing(request, RunForm(initial={"day": _last_month()}))


def run(request: PersonRequest) -> HttpResponse:
    """Issue all statements of a period that are not issued."""
    form = RunForm(request.POST)
    if form.is_valid():
        made = tried(
            form, runs.run_statements, actor=request.user, now=timezone.now(), **form.cleaned_data
        )
        if made is not None:
            none = "No statement to issue: all of that period are, or no agreement covers it."
            messages.success(request, f"Statements issued: {len(made)}." if made else none)
            return redirect("office:commission")
    return _listing(request, form)


def _listing(request: PersonRequest, form: RunForm) -> HttpResponse:
    rows = [(row, said(terms_from(row.terms))) for row in agreements()]
    context = {
        "form": form,
        "owed": owed(),
        "agreements": rows,
        "statements": statements()[:SHOWN],
    }
    return render(request, "office/commission/commission.html", context, status=sent(form))


def add(request: PersonRequest) -> HttpResponse:
    return _keep(request, None)


def agreement(request: PersonRequest, pk: int) -> HttpResponse:
    return _keep(request, agreement_for(request.user, pk, write=request.method == "POST"))


def _keep(request: PersonRequest, row: Agreement | None) -> HttpResponse:
    form = AgreementForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            save_agreement,
            agreement=row,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:commission-agreement", saved.pk)
    context = {
        "form": form,
        "agreement": row,
        "day": DayForm(initial={"day": _last_month()}),
        "statements": statements().filter(agreement=row) if row else [],
    }
    return render(request, "office/commission/agreement.html", context, status=sent(form))


def preview(request: PersonRequest, pk: int) -> HttpResponse:
    """What a period would come to. Nothing is kept."""
    row = agreement_for(request.user, pk, write=True)
    form = DayForm(request.GET)
    found = tried(form, runs.preview_of, agreement=row, day=_day(form)) if form.is_valid() else None
    return _preview(request, row, form, found)


def issue(request: PersonRequest, pk: int) -> HttpResponse:
    """Issue what was previewed, when it still is as it was seen."""
    row = agreement_for(request.user, pk, write=True)
    form = IssueForm(request.POST)
    if not form.is_valid():
        return _preview(request, row, form, None)
    day = _day(form)
    made = tried(
        form,
        runs.issue_seen,
        agreement=row,
        day=day,
        seen=form.cleaned_data["digest"],
        actor=request.user,
        now=timezone.now(),
    )
    if made:
        messages.success(request, f"{made}: issued.")
        return redirect("office:statement", made.pk)
    # What it would come to now; why it cannot be told is told by the refusal already.
    found = tried(DayForm(request.POST), runs.preview_of, agreement=row, day=day)
    return _preview(request, row, form, found)


def _preview(
    request: PersonRequest, row: Agreement, form: DayForm, found: Preview | None
) -> HttpResponse:
    context = {
        "agreement": row,
        "form": form,
        "found": found,
        "figures": _shown(found.figures) if found else None,
        "due": found.due if found else None,
        "hindered": actions.hindrance(found, timezone.now()) if found else None,
    }
    return render(request, "office/commission/preview.html", context, status=sent(form))


def statement(request: PersonRequest, pk: int) -> HttpResponse:
    return _statement(request, statement_for(request.user, pk))


def paper(request: PersonRequest, pk: int) -> HttpResponse:
    """The statement as PDF."""
    file = as_pdf(statement_paper(statement_for(request.user, pk)))
    return HttpResponse(file.content, content_type=file.media_type, headers=file.headers)


def export(request: PersonRequest) -> HttpResponse:
    """All statements as a file, the latest first."""
    table = money_tables.statements(within(statements()), Business.the().time_zone)
    return sent_as_file(request, table)


def statement_export(request: PersonRequest, pk: int) -> HttpResponse:
    """One statement as a file, line by line."""
    found = statement_for(request.user, pk)
    return sent_as_file(request, money_tables.statement(found, Business.the().time_zone))


def correct(request: PersonRequest, pk: int) -> HttpResponse:
    """What the statement had wrong; the next one carries it."""
    found = statement_for(request.user, pk, write=True)
    form = CorrectForm(request.POST, prefix="correct")
    if form.is_valid() and tried(
        form,
        actions.correct,
        statement=found,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Kept; the next statement carries it.")
        return redirect("office:statement", pk)
    return _statement(request, found, correcting=form)


def pay(request: PersonRequest, pk: int) -> HttpResponse:
    """Money that went to the host."""
    found = statement_for(request.user, pk, write=True)
    form = PayForm(request.POST, prefix="pay")
    if form.is_valid() and tried(
        form,
        actions.pay,
        statement=found,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Kept.")
        return redirect("office:statement", pk)
    return _statement(request, found, paying=form)


def mail(request: PersonRequest, pk: int) -> HttpResponse:
    """Mail the statement to the host, once."""
    found = statement_for(request.user, pk, write=True)
    actions.send(statement=found, actor=request.user, now=timezone.now())
    messages.success(request, f"{found} goes to {actions.address_of(found)}.")
    return redirect("office:statement", pk)


def _statement(
    request: PersonRequest,
    found: Statement,
    *,
    correcting: CorrectForm | None = None,
    paying: PayForm | None = None,
) -> HttpResponse:
    correcting = correcting or CorrectForm(prefix="correct")
    paying = paying or PayForm(prefix="pay", initial={"paid_on": _today()})
    context = {
        "statement": found,
        "figures": _shown(found.figures),
        "due": found.due,
        "address": actions.address_of(found),
        "corrections": found.corrections.select_related("carried_on", "by"),
        "payments": found.payments.select_related("by"),
        "correcting": correcting,
        "paying": paying,
        "entries": audit.entries_of(found)[:20],
    }
    status = sent(correcting, paying)
    return render(request, "office/commission/statement.html", context, status=status)


def _shown(figures: Mapping[str, Any]) -> dict[str, Any]:
    """Frozen figures with amounts as amounts, classes in words, and what was taken off."""
    shown = {name: Decimal(figures[name]) for name in IN_MONEY}
    lines = [
        {
            "machine": one["machine"],
            "class": CLASS_WORDS.get(one["product_class"], one["product_class"]),
            "receipts": Decimal(one["receipts"]),
            "off": Decimal(one["receipts"]) - Decimal(one["base"]),
            "base": Decimal(one["base"]),
            "percent": one["percent"] and f"{Decimal(one['percent']).normalize():f}",
            "amount": Decimal(one["amount"]),
        }
        for one in figures["lines"]
    ]
    machines = [
        {name: value if name == "machine" else Decimal(value) for name, value in one.items()}
        for one in figures["machines"]
    ]
    carried = [{**one, "amount": Decimal(one["amount"])} for one in figures["carried"]]
    over = [{**one, "amount": Decimal(one["amount"])} for one in carried_over(figures)]
    told = {"lines": lines, "machines": machines, "carried": carried, "carried_over": over}
    return {**figures, **shown, **told}


def _day(form: DayForm) -> date:
    day: date = form.cleaned_data["day"]
    return day


def _today() -> date:
    return timezone.now().astimezone(Business.the().time_zone).date()


def _last_month() -> date:
    return _today().replace(day=1) - timedelta(days=1)
