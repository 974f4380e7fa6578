"""Terminals for cards: where each hangs and hung, taken down, and entries set right."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales.actions import terminals as actions
from fleet.sales.models import CardTerminal
from fleet.sales.queries.cards import terminal_entries, terminal_for
from office.doors import PersonRequest, sent, tried
from office.forms.settlements import CorrectTerminalForm, EndTerminalForm, WithdrawTerminalForm
from people import audit
from people.models import Business

A_PAGE = 100


def listing(request: PersonRequest) -> HttpResponse:
    """Every entry, those that were withdrawn too."""
    page = Paginator(terminal_entries(), A_PAGE).get_page(request.GET.get("page"))
    return render(request, "office/commission/terminals.html", {"page": page})


def entry(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, terminal_for(request.user, pk))


def end(request: PersonRequest, pk: int) -> HttpResponse:
    """It was taken down."""
    row = terminal_for(request.user, pk, write=True)
    form = EndTerminalForm(request.POST, prefix="end")
    if form.is_valid() and tried(
        form,
        actions.end_terminal,
        terminal=row,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Kept; lines of later days have no machine.")
        return redirect("office:card-terminal-entry", pk)
    return _page(request, row, ending=form)


def correct(request: PersonRequest, pk: int) -> HttpResponse:
    """The entry was wrong; another takes its place."""
    row = terminal_for(request.user, pk, write=True)
    form = CorrectTerminalForm(request.POST, prefix="correct")
    if form.is_valid():
        given = dict(form.cleaned_data)
        why = given.pop("why")
        made = tried(
            form,
            actions.correct_terminal,
            terminal=row,
            changes=given,
            why=why,
            actor=request.user,
            now=timezone.now(),
        )
        if made:
            messages.success(request, "Kept; the wrong entry stays as evidence.")
            return redirect("office:card-terminal-entry", made.pk)
    return _page(request, row, correcting=form)


def withdraw(request: PersonRequest, pk: int) -> HttpResponse:
    """The entry should never have been made."""
    row = terminal_for(request.user, pk, write=True)
    form = WithdrawTerminalForm(request.POST, prefix="withdraw")
    if form.is_valid() and tried(
        form,
        actions.withdraw_terminal,
        terminal=row,
        actor=request.user,
        now=timezone.now(),
        **form.cleaned_data,
    ):
        messages.success(request, "Withdrawn; it stays as evidence.")
        return redirect("office:card-terminal-entry", pk)
    return _page(request, row, withdrawing=form)


def _page(
    request: PersonRequest,
    row: CardTerminal,
    *,
    ending: EndTerminalForm | None = None,
    correcting: CorrectTerminalForm | None = None,
    withdrawing: WithdrawTerminalForm | None = None,
) -> HttpResponse:
    today = Business.the().day_of(timezone.now())
    as_it_is = {name: getattr(row, name) for name in actions.CORRECTED}
    ending = ending or EndTerminalForm(prefix="end", initial={"ends_on": today})
    correcting = correcting or CorrectTerminalForm(prefix="correct", initial=as_it_is)
    withdrawing = withdrawing or WithdrawTerminalForm(prefix="withdraw")
    context = {
        "terminal": row,
        "others": terminal_entries().filter(code=row.code).exclude(pk=row.pk),
        "ending": ending,
        "correcting": correcting,
        "withdrawing": withdrawing,
        "entries": audit.entries_of(row)[:20],
    }
    status = sent(ending, correcting, withdrawing)
    return render(request, "office/commission/terminal.html", context, status=status)
