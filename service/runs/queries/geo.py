"""Stops on a map: GeoJSON (RFC 7946), WGS 84, longitude before latitude."""

from collections.abc import Sequence
from typing import Any

from fleet.machines.models import Site

from ..models import Run, Stop
from .dispatch import Card


def stops_geojson(run: Run) -> dict[str, Any]:
    """A FeatureCollection: the depot, then each stop in order.

    A site without coordinates has a null geometry (section 3.2).
    """
    stops = (
        Stop.objects.filter(run=run).select_related("machine", "site").order_by("sequence", "pk")
    )
    depot = run.depot.site
    return {
        "type": "FeatureCollection",
        "features": [
            _feature(depot, f"depot-{run.depot_id}", {"role": "depot", "name": depot.name}),
            *(
                _feature(
                    stop.site,
                    f"stop-{stop.pk}",
                    {
                        "role": "stop",
                        "stop": stop.pk,
                        "sequence": stop.sequence,
                        "machine": stop.machine_id,
                        "asset_tag": stop.machine.asset_tag,
                        "site": stop.site_id,
                        "name": stop.site.name,
                        "state": str(stop.state),
                        "must_go": stop.must_go,
                        "planned_arrive": stop.planned_arrive.isoformat(),
                        "planned_leave": stop.planned_leave.isoformat(),
                    },
                )
                for stop in stops
            ),
        ],
    }


def tickets_geojson(cards: Sequence[Card]) -> dict[str, Any]:
    """A FeatureCollection of open tickets where their machines stand."""
    return {
        "type": "FeatureCollection",
        "features": [
            _feature(
                card.ticket.site,
                f"ticket-{card.ticket.pk}",
                {
                    "role": "ticket",
                    "ticket": card.ticket.pk,
                    "reference": card.ticket.reference,
                    "asset_tag": card.ticket.machine.asset_tag,
                    "name": card.ticket.site.name,
                    "symptom": card.ticket.symptom.words,
                    "urgency": str(card.ticket.urgency),
                    "due": card.due,
                    "pressing": card.pressing,
                },
            )
            for card in cards
            if card.ticket.site is not None
        ],
    }


def _feature(site: Site, key: str, properties: dict[str, Any]) -> dict[str, Any]:
    geometry = None
    if site.latitude is not None and site.longitude is not None:
        geometry = {
            "type": "Point",
            "coordinates": [float(site.longitude), float(site.latitude)],
        }
    return {"type": "Feature", "id": key, "geometry": geometry, "properties": properties}
