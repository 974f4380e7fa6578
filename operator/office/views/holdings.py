"""What columns can hold: packages, drawn as they are typed, and products."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString

from fleet.compute.packages import Package as Shape
from fleet.compute.packages import PackageKind
from fleet.compute.units import BadMeasure
from fleet.machines.actions import holdings
from fleet.machines.geometry import PACKAGE_SIZES, units_of
from fleet.machines.models import Package, Product, SetUp
from fleet.machines.queries.gates import package_for, product_for
from office.doors import PersonRequest, sent, tried
from office.drawing.package import package_drawing
from office.forms.holdings import PackageForm, ProductForm
from people import audit
from people.models import Business


def packages(request: PersonRequest) -> HttpResponse:
    search = request.GET.get("search", "").strip()
    rows = Package.objects.annotate(used=Count("products")).order_by("name", "pk")
    if search:
        rows = rows.filter(name__icontains=search)
    return render(request, "office/holdings/packages.html", {"packages": rows, "search": search})


def package(request: PersonRequest, pk: int) -> HttpResponse:
    found = package_for(request.user, pk)
    context = {
        "package": found,
        "drawing": draw(sizes_of(found)),
        "products": found.products.order_by("name", "pk"),
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/holdings/package.html", context)


def edit_package(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Add a package, or change one. The drawing follows what is typed."""
    found = package_for(request.user, pk, write=True) if pk else None
    form = PackageForm(request.POST or None, units=Business.the().units, row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            holdings.save_package,
            package=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:package", saved.pk)
    context = {"package": found, "form": form, **_drawn(form, found)}
    return render(request, "office/holdings/edit_package.html", context, status=sent(form))


def draw_package(request: PersonRequest) -> HttpResponse:
    """The drawing of a package as it is being typed; keeps nothing."""
    form = PackageForm(request.POST, units=Business.the().units)
    form.is_valid()
    return render(request, "office/holdings/package_drawing.html", _drawn(form, None))


def products(request: PersonRequest) -> HttpResponse:
    search = request.GET.get("search", "").strip()
    rows = Product.objects.select_related("package").annotate(
        columns=Count("set_ups", filter=Q(set_ups__ends_at__isnull=True))
    )
    if search:
        rows = rows.filter(
            Q(name__icontains=search)
            | Q(gtin__contains=search)
            | Q(package__name__icontains=search)
        )
    context = {"products": rows.order_by("-sold", "name", "pk"), "search": search}
    return render(request, "office/holdings/products.html", context)


def product(request: PersonRequest, pk: int) -> HttpResponse:
    found = product_for(request.user, pk)
    held = (
        SetUp.objects.filter(product=found, ends_at__isnull=True)
        .select_related("column__machine", "column__position", "program")
        .order_by("column__machine__asset_tag", "column__position__order", "pk")
    )
    context = {
        "product": found,
        "form": ProductForm(units=Business.the().units, row=found),
        "held": held,
        "drawing": draw(sizes_of(found.package)),
        "entries": audit.entries_of(found)[:20],
    }
    return render(request, "office/holdings/product.html", context)


def edit_product(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    found = product_for(request.user, pk, write=True) if pk else None
    form = ProductForm(request.POST or None, units=Business.the().units, row=found)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            holdings.save_product,
            product=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:product", saved.pk)
    context = {"product": found, "form": form}
    return render(request, "office/holdings/edit_product.html", context, status=sent(form))


def sizes_of(row: Package) -> dict[str, Any]:
    return {"shape": row.shape, **{name: getattr(row, name) for name in PACKAGE_SIZES}}


def draw(sizes: Mapping[str, Any]) -> SafeString | None:
    """The package to scale; None while its length or shape is not known. Raises BadMeasure."""
    if sizes.get("shape") not in set(PackageKind):
        return None
    figures = {
        name: None if sizes.get(name) is None else float(sizes[name]) for name in PACKAGE_SIZES
    }
    shape = Shape(kind=PackageKind(sizes["shape"]), **figures)
    return package_drawing(
        shape, ident="package", title="The package to scale", units=units_of(Business.the())
    )


def _drawn(form: PackageForm, found: Package | None) -> dict[str, Any]:
    sizes = form.cleaned_data if form.is_bound else sizes_of(found) if found else {}
    try:
        return {"drawing": draw(sizes), "trouble": None}
    except BadMeasure as error:
        return {"drawing": None, "trouble": error}
