"""Orders: suggested, edited, placed, received with their differences; and what was received."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.demand.actions import buying
from fleet.inventory import tables
from fleet.inventory.actions import orders as actions
from fleet.inventory.actions import receipts
from fleet.inventory.models import PurchaseOrder, Receipt
from fleet.inventory.queries.gates import (
    order_for,
    orders_whole,
    receipt_for,
    receipts_whole,
    supplier_for,
)
from fleet.inventory.queries.orders import owed
from office.doors import PersonRequest, sent, sent_as_file, tried
from office.forms.buying import (
    DeliveryForm,
    DeliveryWithoutOrderForm,
    NewOrderForm,
    OrderFilter,
    OrderForm,
    ReasonForm,
    ReceivedLines,
    WantedLines,
    with_the_only_warehouse,
)
from people import audit
from people.models import Business

OPEN = (PurchaseOrder.State.DRAFT, PurchaseOrder.State.PLACED)
SHOWN = 200


def listing(request: PersonRequest) -> HttpResponse:
    """Drafts and placed orders, or those of a state; and the latest deliveries."""
    form = OrderFilter(request.GET, auto_id="filter_%s")
    context = {
        "orders": _chosen(form)[:SHOWN],
        "receipts": receipts_whole().order_by("-received_at", "-pk")[:10],
        "form": form,
        "new": NewOrderForm(initial=with_the_only_warehouse(QueryDict()).dict()),
        "today": timezone.localdate(timezone.now(), Business.the().time_zone),
    }
    return render(request, "office/buying/orders.html", context)


def _chosen(form: OrderFilter) -> "QuerySet[PurchaseOrder]":
    given = form.cleaned_data if form.is_valid() else {}
    rows = orders_whole().order_by("-pk")
    rows = rows.filter(state__in=[given["state"]] if given.get("state") else OPEN)
    return rows.filter(supplier=given["supplier"]) if given.get("supplier") else rows


def export(request: PersonRequest) -> HttpResponse:
    zone = Business.the().time_zone
    table = tables.orders(_chosen(OrderFilter(request.GET)), zone)
    return sent_as_file(request, table)


def suggest(request: PersonRequest) -> HttpResponse:
    """What to order from a supplier for a warehouse, with the figures; kept as a draft."""
    asked = "supplier" in request.GET or "place" in request.GET
    chosen = NewOrderForm(with_the_only_warehouse(request.GET) if asked else None)
    if not chosen.is_valid():
        return render(request, "office/buying/new_order.html", {"new": chosen})
    supplier, place = chosen.cleaned_data["supplier"], chosen.cleaned_data["place"]
    now = timezone.now()
    found = {one.product: one for one in buying.suggest(supplier=supplier, place=place, now=now)}
    told = {pk: one.as_json() for pk, one in found.items()}
    posted = request.POST if request.method == "POST" else None
    form = OrderForm(posted)
    items = list(supplier.items.select_related("product").order_by("product__name", "pk"))
    lines = WantedLines(
        items, posted, cases={pk: one.cases for pk, one in found.items()}, told=told
    )
    valid = [form.is_valid(), lines.are_valid()]
    if posted is not None and all(valid):
        made = tried(
            form,
            actions.draft,
            supplier=supplier,
            place=place,
            lines=lines.wanted(),
            note=form.cleaned_data["note"],
            expected_on=form.cleaned_data["expected_on"],
            actor=request.user,
            now=now,
        )
        if made:
            messages.success(request, "The draft is kept. Place it when it has gone out.")
            return redirect("office:order", made.pk)
    context = {"supplier": supplier, "place": place, "form": form, "lines": lines, "order": None}
    status = sent(form, *lines.forms)
    return render(request, "office/buying/edit_order.html", context, status=status)


def edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a draft: the cases of each product, the day, the note."""
    order = order_for(request.user, pk, write=True)
    posted = request.POST if request.method == "POST" else None
    form = OrderForm(posted, initial={"expected_on": order.expected_on, "note": order.note})
    items = list(order.supplier.items.select_related("product").order_by("product__name", "pk"))
    kept = list(order.lines.all())
    lines = WantedLines(
        items,
        posted,
        cases={line.product_id: line.cases for line in kept},
        told={line.product_id: line.suggestion for line in kept if line.suggestion},
    )
    valid = [form.is_valid(), lines.are_valid()]
    if posted is not None and all(valid):
        saved = tried(
            form,
            actions.rewrite,
            order=order,
            lines=lines.wanted(),
            changes=form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, "The draft is kept.")
            return redirect("office:order", pk)
    context = {
        "supplier": order.supplier,
        "place": order.place,
        "order": order,
        "form": form,
        "lines": lines,
    }
    status = sent(form, *lines.forms)
    return render(request, "office/buying/edit_order.html", context, status=status)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    return _page(request, order_for(request.user, pk), ReasonForm())


def _page(request: PersonRequest, order: PurchaseOrder, form: ReasonForm) -> HttpResponse:
    lines = list(order.lines.all())
    outstanding = owed([order])[order.pk]
    context = {
        "order": order,
        "lines": [(line, outstanding[line.product_id]) for line in lines],
        "suggested": [line for line in lines if line.suggestion],
        "cost": sum(line.cost for line in lines),
        "receipts": receipts_whole().filter(order=order).order_by("received_at", "pk"),
        "form": form,
        "entries": audit.entries_of(order)[:20],
    }
    return render(request, "office/buying/order.html", context, status=sent(form))


def place(request: PersonRequest, pk: int) -> HttpResponse:
    order = order_for(request.user, pk, write=True)
    actions.place(order=order, actor=request.user, now=timezone.now())
    messages.success(request, "It is placed.")
    return redirect("office:order", pk)


def cancel(request: PersonRequest, pk: int) -> HttpResponse:
    order = order_for(request.user, pk, write=True)
    form = ReasonForm(request.POST)
    if form.is_valid() and tried(
        form,
        actions.cancel,
        order=order,
        reason=form.cleaned_data["reason"],
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "It is cancelled.")
        return redirect("office:order", pk)
    return _page(request, order_for(request.user, pk), form)


def receive(request: PersonRequest, pk: int) -> HttpResponse:
    """Take in a delivery against an order."""
    order = order_for(request.user, pk, write=True)
    outstanding = owed([order])[order.pk]
    expected = [(line.product, outstanding[line.product_id]) for line in order.lines.all()]
    posted = request.POST if request.method == "POST" else None
    lines = ReceivedLines(expected, posted)
    asked = lines.asked
    form = DeliveryForm(None if asked else posted, initial=_typed(posted) if asked else None)
    valid = [form.is_valid(), lines.are_valid()]
    if posted is not None and not asked and all(valid):
        now = timezone.now()
        done = tried(
            form,
            receipts.receive,
            order=order,
            place=order.place,
            lines=lines.received(),
            received_at=form.moment("received_at", now),
            delivery_note=form.cleaned_data["delivery_note"],
            note=form.cleaned_data["note"],
            closes=form.cleaned_data["closes"],
            actor=request.user,
            now=now,
        )
        if done:
            messages.success(request, "The delivery is taken in.")
            return redirect("office:receipt", done.pk)
    context = {"order": order, "supplier": order.supplier, "form": form, "lines": lines}
    status = sent(form, *lines.forms)
    return render(request, "office/buying/receive.html", context, status=status)


def receive_from(request: PersonRequest, pk: int) -> HttpResponse:
    """Take in a delivery without an order."""
    supplier = supplier_for(request.user, pk, write=True)
    posted = request.POST if request.method == "POST" else None
    lines = ReceivedLines([(item.product, None) for item in supplier.items.all()], posted)
    asked = lines.asked
    form = DeliveryWithoutOrderForm(
        None if asked else posted, initial=_typed(posted) if asked else None
    )
    valid = [form.is_valid(), lines.are_valid()]
    if posted is not None and not asked and all(valid):
        now = timezone.now()
        done = tried(
            form,
            receipts.receive,
            supplier=supplier,
            place=form.cleaned_data["place"],
            lines=lines.received(),
            received_at=form.moment("received_at", now),
            delivery_note=form.cleaned_data["delivery_note"],
            note=form.cleaned_data["note"],
            actor=request.user,
            now=now,
        )
        if done:
            messages.success(request, "The delivery is taken in.")
            return redirect("office:receipt", done.pk)
    context = {"order": None, "supplier": supplier, "form": form, "lines": lines}
    status = sent(form, *lines.forms)
    return render(request, "office/buying/receive.html", context, status=status)


def _typed(posted: object) -> dict[str, object]:
    names = ("received_at", "delivery_note", "note", "closes", "place")
    return {name: posted.get(name) for name in names if posted.get(name)}  # type: ignore[attr-defined]


def receipt(request: PersonRequest, pk: int) -> HttpResponse:
    return _receipt(request, receipt_for(request.user, pk), ReasonForm())


def take_back(request: PersonRequest, pk: int) -> HttpResponse:
    found = receipt_for(request.user, pk, write=True)
    form = ReasonForm(request.POST)
    if form.is_valid() and tried(
        form,
        receipts.take_back,
        receipt=found,
        reason=form.cleaned_data["reason"],
        actor=request.user,
        now=timezone.now(),
    ):
        messages.success(request, "It is taken back.")
        return redirect("office:receipt", pk)
    return _receipt(request, receipt_for(request.user, pk), form)


def _receipt(request: PersonRequest, found: Receipt, form: ReasonForm) -> HttpResponse:
    lines = list(found.lines.all())
    context = {
        "receipt": found,
        "lines": lines,
        "amiss": sum(1 for one in lines if one.differences),
        "cost": sum(one.units * one.unit_cost for one in lines),
        "form": form,
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/buying/receipt.html", context, status=sent(form))
