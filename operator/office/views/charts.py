"""The chart of a kind: settings known to work, typed from a label or measured."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.actions.charts import delete_chart_entry, save_chart_entry
from fleet.machines.models import ChartEntry
from fleet.machines.queries.gates import chart_entry_for, kind_for
from office.doors import PersonRequest, sent, tried
from office.forms.charts import ChartForm


def page(request: PersonRequest, pk: int) -> HttpResponse:
    """The entries of a kind; a new one is added below them."""
    kind = kind_for(request.user, pk, write=request.method == "POST")
    form = ChartForm(request.POST or None, kind=kind)
    if request.method == "POST" and form.is_valid():
        given = dict(form.cleaned_data)
        saved = tried(
            form,
            save_chart_entry,
            position=given.pop("position"),
            package=given.pop("package"),
            changes=given,
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:chart", pk)
    entries = (
        ChartEntry.objects.filter(position__kind=kind)
        .select_related("position", "package")
        .order_by("position__order", "package__name", "source", "deep", "pk")
    )
    context = {"kind": kind, "form": form, "entries": entries}
    return render(request, "office/kinds/chart.html", context, status=sent(form))


def remove(request: PersonRequest, pk: int) -> HttpResponse:
    entry = chart_entry_for(request.user, pk, write=True)
    kind = entry.position.kind_id
    delete_chart_entry(entry=entry, actor=request.user, now=timezone.now())
    messages.success(request, "The entry is taken out of the chart.")
    return redirect("office:chart", kind)
