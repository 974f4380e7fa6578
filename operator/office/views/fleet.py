"""The fleet as a list."""

from django.http import HttpResponse

from fleet.machines.models import Machine
from fleet.machines.queries.fleet import machines_listed
from fleet.sales.models import MachineEvent
from office import glances
from office.doors import PersonRequest, part_or_page
from office.forms.fleet import FleetFilter
from office.paging import page_of


def listing(request: PersonRequest) -> HttpResponse:
    """Machines that pass the filter. A request of htmx gets the table alone."""
    form = FleetFilter(request.GET)
    form.is_valid()
    asked = form.cleaned_data
    rows = machines_listed(
        search=asked.get("search") or "",
        site=_key(asked.get("site")),
        kind=_key(asked.get("kind")),
        status=asked.get("status") or "",
        product=_key(asked.get("product")),
    )
    if asked.get("events"):
        rows = rows.filter(pk__in=MachineEvent.objects.filter(is_active=True).values("machine"))
    page = page_of(rows, request.GET, key="asset_tag")
    context = {
        "form": form,
        "page": page,
        "lines": lines(page.rows),
        "counted": rows.count(),
    }
    return part_or_page(
        request, "office/machines/list_part.html", "office/machines/list.html", context
    )


def lines(machines: object) -> list[dict[str, object]]:
    """One line a machine, with what is known of it at a glance."""
    found: list[Machine] = list(machines)  # type: ignore[call-overload]
    events = glances.active_events(found)
    reads = glances.last_reads(found)
    changeovers = glances.open_changeovers(found)
    return [
        {
            "machine": machine,
            "place": next(iter(machine.placements_now), None),  # type: ignore[attr-defined]
            "events": events.get(machine.pk, []),
            "read_at": reads.get(machine.pk),
            "changeovers": changeovers.get(machine.pk, 0),
        }
        for machine in found
    ]


def _key(row: object) -> int | None:
    return getattr(row, "pk", None)
