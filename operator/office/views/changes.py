"""What would change if a machine held something else: asked by a person, or suggested."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from fleet.demand.queries import changes
from fleet.machines.models import Product
from fleet.machines.queries.fleet import columns_of
from fleet.machines.queries.gates import machine_for
from office import glances
from office.doors import PersonRequest, part_or_page, sent, tell
from office.forms.demand import WhatIfForm
from people.errors import Unacceptable


def what_if(request: PersonRequest, pk: int) -> HttpResponse:
    """Ask about products and depths. The question is the address, so that it can be sent on."""
    machine = machine_for(request.user, pk)
    columns = list(columns_of(machine))
    products = list(Product.objects.filter(sold=True).order_by("name", "pk"))
    form = WhatIfForm(request.GET or None, columns=columns, products=products)
    answer = None
    if form.is_bound and form.is_valid():
        asks = form.asks()
        try:
            answer = changes.what_if(machine=machine, asks=asks, now=timezone.now())
        except Unacceptable as error:
            tell(form, _by_input(form, error))
    context = {
        "machine": machine,
        "place": glances.places([machine]).get(machine.pk),
        "form": form,
        "answer": answer,
    }
    return render(request, "office/demand/what_if.html", context, status=sent(form))


def suggested(request: PersonRequest, pk: int) -> HttpResponse:
    """The part of the page that takes the solver's seconds, fetched once the page stands."""
    machine = machine_for(request.user, pk)
    found = changes.suggested(machine=machine, now=timezone.now())
    context = {"machine": machine, "answer": found}
    return part_or_page(
        request, "office/demand/suggested.html", "office/demand/suggested_page.html", context
    )


def _by_input(form: WhatIfForm, error: Unacceptable) -> Unacceptable:
    fields = {(form.field_of(name) or name): message for name, message in error.fields.items()}
    return Unacceptable(error.message, code=error.code, fields=fields)
