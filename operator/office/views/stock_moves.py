"""Counting a place, moving out of it, throwing away: a figure beside each product and lot."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.inventory.actions import moves, stocktakes
from fleet.inventory.models import StockPlace
from fleet.inventory.queries import stock
from fleet.inventory.queries.gates import place_for
from fleet.machines.models import Product
from office.doors import PersonRequest, sent, tried
from office.forms.stock import CountForm, Lines, MoveForm, NewLines, WasteForm
from people.errors import NotFound
from people.models import Person


def count(request: PersonRequest, pk: int) -> HttpResponse:
    """The sheet of a count: printed with blanks, or filled in here."""
    place = _store_for(request.user, pk)
    posted = request.POST if request.method == "POST" else None
    products = list(Product.objects.order_by("-sold", "name", "pk"))
    levels = list(stock.levels_of(place))
    lines = Lines(levels, posted, verb="Counted")
    new = NewLines(posted, products)
    form = CountForm(None if new.asked else posted, initial=_kept(posted) if new.asked else None)
    # All are asked, so that each says what is wrong with it.
    valid = [form.is_valid(), lines.are_valid(), new.are_valid()]
    if posted is not None and not new.asked and all(valid):
        now = timezone.now()
        found = [*lines.found(), *new.found()]
        if not form.cleaned_data["whole"] and lines.tell_partly_counted():
            pass  # told beside each lot
        elif not found and not form.cleaned_data["whole"]:
            form.add_error(None, "Nothing was counted: write at least one figure.")
        elif done := tried(
            form,
            stocktakes.take_stock,
            place=place,
            found=found,
            counted_at=form.moment("counted_at", now),
            whole=form.cleaned_data["whole"],
            note=form.cleaned_data["note"],
            actor=request.user,
            now=now,
        ):
            messages.success(request, f"{place}: the count is kept.")
            return redirect("office:stock-count", done.pk)
    context = {"place": place, "form": form, "lines": lines, "new": new}
    status = sent(form, *lines.forms, *new.forms)
    return render(request, "office/stock/sheet.html", context, status=status)


def move(request: PersonRequest, pk: int) -> HttpResponse:
    """Move products to another warehouse or truck."""
    place = _store_for(request.user, pk)
    posted = request.POST if request.method == "POST" else None
    form = MoveForm(posted, place=place)
    lines = Lines(list(stock.levels_of(place)), posted, verb="Move")
    valid = [form.is_valid(), lines.are_valid()]
    if posted is not None and all(valid):
        now = timezone.now()
        if not lines.items():
            form.add_error(None, "Nothing is to be moved: write at least one figure.")
        elif tried(
            form,
            moves.transfer,
            from_place=place,
            to_place=form.cleaned_data["to_place"],
            items=lines.items(),
            happened_at=form.moment("happened_at", now),
            note=form.cleaned_data["note"],
            actor=request.user,
            now=now,
        ):
            messages.success(request, f"Moved to {form.cleaned_data['to_place']}.")
            return redirect("office:stock-place", pk)
    context = {"place": place, "form": form, "lines": lines, "verb": "Move", "kind": "move"}
    return render(request, "office/stock/move.html", context, status=sent(form, *lines.forms))


def throw_away(request: PersonRequest, pk: int) -> HttpResponse:
    """Throw products away, with the reason."""
    place = _store_for(request.user, pk)
    posted = request.POST if request.method == "POST" else None
    form = WasteForm(posted)
    lines = Lines(list(stock.levels_of(place)), posted, verb="Throw away")
    valid = [form.is_valid(), lines.are_valid()]
    if posted is not None and all(valid):
        now = timezone.now()
        if not lines.items():
            form.add_error(None, "Nothing is to be thrown away: write at least one figure.")
        elif tried(
            form,
            moves.waste,
            place=place,
            items=lines.items(),
            waste_reason=form.cleaned_data["waste_reason"],
            happened_at=form.moment("happened_at", now),
            note=form.cleaned_data["note"],
            actor=request.user,
            now=now,
        ):
            messages.success(request, "It is recorded as waste.")
            return redirect("office:stock-place", pk)
    context = {"place": place, "form": form, "lines": lines, "verb": "Throw away", "kind": "waste"}
    return render(request, "office/stock/move.html", context, status=sent(form, *lines.forms))


def _kept(posted: object) -> dict[str, object]:
    names = ("counted_at", "note", "whole")
    return {name: posted.get(name) for name in names if posted.get(name)}  # type: ignore[attr-defined]


def _store_for(person: Person, pk: int) -> StockPlace:
    """A warehouse or truck that the person may work at; columns are counted at a visit."""
    place = place_for(person, pk, write=True)
    if place.kind not in stock.KEPT_BY_HAND:
        raise NotFound(f"{place} is no warehouse and no truck")
    return place
