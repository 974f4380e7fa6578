"""What event codes mean, in the business's own words."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.sales.actions.meanings import save_meaning
from fleet.sales.queries.events import meanings_listed
from fleet.sales.queries.gates import meaning_for
from office.doors import PersonRequest, sent, tried
from office.forms.meanings import MeaningForm
from people import audit
from people.models import Business


def listing(request: PersonRequest) -> HttpResponse:
    search = request.GET.get("search", "").strip()
    context = {"meanings": meanings_listed(search), "search": search}
    return render(request, "office/meanings/list.html", context)


def page(request: PersonRequest, pk: int) -> HttpResponse:
    """One code's meaning, to be said otherwise."""
    meaning = meaning_for(request.user, pk, write=request.method == "POST")
    form = MeaningForm(request.POST or None, units=Business.the().units, row=meaning)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            save_meaning,
            meaning=meaning,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved.base}: kept.")
            return redirect("office:meanings")
    context = {"meaning": meaning, "form": form, "entries": audit.entries_of(meaning)[:20]}
    return render(request, "office/meanings/meaning.html", context, status=sent(form))
