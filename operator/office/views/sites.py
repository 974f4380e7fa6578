"""Where machines stand."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.actions.sites import save_site
from fleet.machines.models import Placement, Site
from fleet.machines.queries.gates import site_for
from office.doors import PersonRequest, sent, tried
from office.forms.holdings import SiteForm
from office.forms.hours import said
from people import audit
from people.models import Business


def listing(request: PersonRequest) -> HttpResponse:
    search = request.GET.get("search", "").strip()
    rows = Site.objects.annotate(
        machines=Count("placements", filter=Q(placements__ends_at__isnull=True))
    )
    if search:
        rows = rows.filter(Q(name__icontains=search) | Q(city__icontains=search))
    context = {"sites": rows.order_by("name", "pk"), "search": search}
    return render(request, "office/sites/list.html", context)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    site = site_for(request.user, pk)
    placements = (
        Placement.objects.filter(site=site)
        .select_related("machine__kind")
        .order_by("ends_at", "-starts_at", "pk")
    )
    context = {
        "site": site,
        "now_here": [one for one in placements if one.ends_at is None],
        "were_here": [one for one in placements if one.ends_at is not None],
        "hours": said(site.opening_windows.all()).splitlines(),
        "entries": audit.entries_of(site)[:20],
    }
    return render(request, "office/sites/site.html", context)


def edit(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    site = site_for(request.user, pk, write=True) if pk else None
    first = {"hours": said(site.opening_windows.all())} if site else {}
    form = SiteForm(request.POST or None, units=Business.the().units, row=site, initial=first)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            save_site,
            site=site,
            changes=form.changes(),
            opening_windows=form.cleaned_data["hours"],
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:site", saved.pk)
    context = {"site": site, "form": form}
    return render(request, "office/sites/edit.html", context, status=sent(form))
