"""A small question for each computation, shown by its help; each can be asked as it stands."""

from typing import Any, Final

EXAMPLES: Final[dict[str, dict[str, Any]]] = {
    "fit": {
        "position": {
            "label": "1",
            "width_mm": 84,
            "height_mm": 900,
            "greatest_deep": 2,
            "front": {"depth_mm": 252, "rail": {"zero_mm": 92, "pitch_mm": 8, "notches": 21}},
        },
        "package": {"kind": "can", "length_mm": 122.2, "diameter_mm": 66.1},
    },
    "demand": {
        "columns": [{"column": "1", "machine": "hall", "product": "water"}],
        "intervals": [
            {
                "column": "1",
                "starts": "2026-01-05T09:30:00",
                "ends": "2026-01-12T09:30:00",
                "units": 4,
                "ran_dry": False,
            },
            {
                "column": "1",
                "starts": "2026-01-12T09:30:00",
                "ends": "2026-01-19T09:30:00",
                "units": 6,
                "ran_dry": True,
            },
        ],
        "as_of": "2026-01-20",
        "days": 3,
    },
    "restock": {
        "columns": [
            {
                "column": "4",
                "product": "still water",
                "capacity_units": 30,
                "stock_units": 6,
                "daily_units": [1.4, 1.4, 1.2, 1.5, 1.6, 0.8, 0.7],
                "margin_minor": 110,
                "leftover_minor": 6,
            }
        ],
        "next_visit_day": 7,
    },
    "swap": {
        "columns": [{"column": "2", "product": "iced tea", "units": 24}],
        "products": [
            {"product": "iced tea", "weekly_units": 2, "margin_minor": 100},
            {"product": "water", "weekly_units": 14, "margin_minor": 110},
        ],
        "fits": [
            {"column": "2", "product": "iced tea", "units": 24, "minutes": 25},
            {"column": "2", "product": "water", "units": 20, "minutes": 25},
        ],
        "minute_minor": 60,
    },
    "runs": {
        "stops": [{"name": "mill", "place": 1, "service_s": 1200, "prize": 4000}],
        "vehicles": [
            {
                "name": "van",
                "start_depot": "yard",
                "end_depot": "yard",
                "starts_s": 21600,
                "ends_s": 61200,
                "shift_s": 28800,
                "cost_per_km": 45,
                "cost_per_hour": 2400,
            }
        ],
        "depots": [{"name": "yard", "place": 0, "loading_s": 900}],
        "places": [
            {"latitude": 50.0, "longitude": 8.0},
            {"latitude": 50.05, "longitude": 8.1},
        ],
        "iterations": 10,
    },
    "watch": {
        "columns": [{"column": "front 1", "machine": "hall"}],
        "days": [
            {"column": "front 1", "day": "2026-05-04", "expected_units": 2.5, "sold_units": 3},
            {"column": "front 1", "day": "2026-05-05", "expected_units": 2.5, "sold_units": 0},
        ],
    },
    "coins": {
        "coins": [{"minor": 5, "weight_g": "440"}, {"minor": 100, "number": 41}],
        "mixed_weight_g": "1375.542",
        "notes": [{"minor": 100, "number": 12}],
    },
    "deposit": {
        "state": "CA",
        "on": "2026-01-01",
        "volume_ml": "354.88",
        "material": "aluminium",
        "drink": {"carbonated": True, "contains_milk": False, "juice_percent": 0},
        "containers": 24,
    },
    "energy": {
        "energy_class": "A",
        "made_on": "2020-01-01",
        "volume_ft3": "20",
        "kwh": "40",
        "days": "10",
    },
    "tax": {
        "rule": "ca-food",
        "receipts": "10000.00",
        "on": "2026-03-02",
        "rates": [{"name": "California", "general": "0.0725"}],
    },
}
