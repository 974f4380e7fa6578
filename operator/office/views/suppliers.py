"""Suppliers, and what each sells."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.inventory.actions import suppliers
from fleet.inventory.models import Supplier
from fleet.inventory.queries.gates import item_for, orders_whole, receipts_whole, supplier_for
from fleet.inventory.queries.stock import suppliers_listed
from office.doors import PersonRequest, sent, tried
from office.forms.buying import ItemForm, NewItemForm, SupplierForm
from people import audit
from people.models import Business

SHOWN = 10


def listing(request: PersonRequest) -> HttpResponse:
    search = request.GET.get("search", "").strip()
    rows = suppliers_listed()
    if search:
        rows = rows.filter(name__icontains=search)
    context = {"suppliers": rows, "search": search}
    return render(request, "office/buying/suppliers.html", context)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    """What they sell, and what was bought from them lately."""
    found: Supplier = supplier_for(request.user, pk)
    context = {
        "supplier": found,
        "items": list(found.items.all()),
        "orders": orders_whole().filter(supplier=found).order_by("-pk")[:SHOWN],
        "receipts": receipts_whole().filter(supplier=found).order_by("-received_at", "-pk")[:SHOWN],
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/buying/supplier.html", context)


def edit(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    found = supplier_for(request.user, pk, write=True) if pk else None
    form = SupplierForm(request.POST or None, units=Business.the().units, row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            suppliers.save_supplier,
            supplier=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:supplier", saved.pk)
    context = {"supplier": found, "form": form}
    return render(request, "office/buying/edit_supplier.html", context, status=sent(form))


def add_item(request: PersonRequest, pk: int) -> HttpResponse:
    supplier = supplier_for(request.user, pk, write=True)
    form = NewItemForm(request.POST or None, supplier=supplier, units=Business.the().units)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            suppliers.save_item,
            supplier=supplier,
            product=form.cleaned_data["product"],
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:supplier", pk)
    context = {"supplier": supplier, "item": None, "form": form}
    return render(request, "office/buying/edit_item.html", context, status=sent(form))


def change_item(request: PersonRequest, pk: int) -> HttpResponse:
    item = item_for(request.user, pk, write=True)
    form = ItemForm(request.POST or None, units=Business.the().units, row=item)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            suppliers.save_item,
            supplier=item.supplier,
            product=item.product,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:supplier", item.supplier_id)
    context = {"supplier": item.supplier, "item": item, "form": form}
    return render(request, "office/buying/edit_item.html", context, status=sent(form))


def remove_item(request: PersonRequest, pk: int) -> HttpResponse:
    item = item_for(request.user, pk, write=True)
    supplier = item.supplier_id
    said = str(item.product)
    suppliers.remove_item(item=item, actor=request.user, now=timezone.now())
    messages.success(request, f"{said} is no longer sold by them.")
    return redirect("office:supplier", supplier)
