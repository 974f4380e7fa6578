"""What the business knows of its things, in the words of the service's rows."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from demo.business import shapes
from fleet.compute.positions import Half, Position, SpiralPosition

CENT = Decimal(100)
FORMS = {"bar": "bar_drop_piece", "drop": "bar_drop_piece", "piece": "bar_drop_piece"}


def product_facts(product: shapes.Product) -> dict[str, Any]:
    """All but its package."""
    facts = product.attributes
    return {
        "name": product.name,
        "gtin": product.gtin,
        "price": cents(product.price_minor),
        "cost": cents(product.cost_minor),
        "shelf_life_days": product.shelf_life_days,
        "picture": product.name,
        "form": FORMS.get(facts.form, "drink" if facts.form == "drink" else "other_food"),
        "sweetened": facts.sweetened,
        "juice_percent": facts.juice_percent,
        "contains_milk": facts.contains_milk,
        "carbonated": facts.carbonated,
        "contains_flour": facts.contains_flour,
        "needs_refrigeration": facts.needs_refrigeration,
        # What must be refrigerated is kept cold for safety.
        "kept_cold_or_hot": facts.needs_refrigeration,
        "heated": facts.heated,
        "supplement_facts": facts.supplement_facts,
        "water": facts.water or "",
        "calories": product.calories,
    }


def kind_facts(kind: shapes.Kind) -> dict[str, Any]:
    """All but its programs and positions."""
    board = kind.board
    facts: dict[str, Any] = {
        "name": kind.name,
        "notes": kind.what,
        "vend_window_s": number(board.vend_window_s),
        "drop_sensor": board.drop_sensor,
        "front_hides_label": kind.front_hides_label,
    }
    if kind.refrigerated_volume_l:
        facts |= {
            "refrigerated_volume_l": number(kind.refrigerated_volume_l),
            "energy_class": "combination B" if kind.combination else "B",
            "refrigerant": kind.refrigerant,
            "refrigerant_charge_g": number(kind.refrigerant_charge_g),
        }
    return facts


def program_facts(kind: shapes.Kind) -> list[dict[str, Any]]:
    return [
        {
            "name": one.name,
            "deep": one.deep,
            "cycle_s": number(one.cycle_s),
            "run_on_s": number(one.run_on_s),
        }
        for one in kind.board.programs
    ]


def site_facts(place: shapes.Site | shapes.Warehouse) -> dict[str, Any]:
    """Where it is; of a host's site also whom statements go to, and what its premises are."""
    facts: dict[str, Any] = {
        "name": place.name,
        "purpose": "warehouse",
        "street": place.address.street,
        "city": place.address.town,
        "county": place.address.county,
        "state": place.address.state,
        "postal_code": place.address.postcode,
        "latitude": number(place.latitude),
        "longitude": number(place.longitude),
        "time_zone": ZoneInfo(place.time_zone),
    }
    if isinstance(place, shapes.Site):
        facts |= {
            "purpose": "host",
            "host_name": place.host_name,
            "host_email": place.host_email,
            "premises": place.premises,
        }
    return facts


def position_facts(place: Position) -> dict[str, Any]:
    """Its style and its measures."""
    if isinstance(place, SpiralPosition):
        return {
            "label": place.label,
            "style": "spiral",
            "width_mm": mm(place.lane_width_mm),
            "height_mm": mm(place.shelf_height_mm),
            "turns": place.turns,
            "spiral_pitch_mm": mm(place.pitch_mm),
        }
    return {
        "label": place.label,
        "style": "stack",
        "width_mm": mm(place.width_mm),
        "height_mm": mm(place.height_mm),
        "greatest_deep": place.greatest_deep,
        "cradle_units": place.cradle_units,
        **_half("front", place.front),
        **_half("rear", place.rear),
    }


def _half(side: str, half: Half | None) -> dict[str, Any]:
    if half is None:
        return {}
    return {
        f"{side}_depth_mm": mm(half.depth_mm),
        f"{side}_zero_mm": mm(half.rail.zero_mm),
        f"{side}_pitch_mm": mm(half.rail.pitch_mm),
        f"{side}_notches": half.rail.notches,
        f"{side}_mark_every": half.rail.mark_every,
        f"{side}_runs": half.rail.runs.value,
    }


def cents(minor: int) -> Decimal:
    """An amount in cents as the books write it."""
    return minor / CENT


def mm(value: float) -> Decimal:
    return Decimal(str(round(value, 3)))


def number(value: float) -> Decimal:
    return Decimal(str(value))
