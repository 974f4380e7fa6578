"""What whoever goes to a machine has to know before it sells food: a lock, goods called back."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ..models import FoodLock, Recall
from .recalls import open_for
from .temperatures import locks_of


@dataclass(frozen=True)
class Warnings:
    """Of one machine: its open lock, and recalls for which nothing is written down there yet."""

    food_lock: FoodLock | None = None
    recalls: tuple[Recall, ...] = ()


def warnings_at(machines: Iterable[int]) -> dict[int, Warnings]:
    """Machines of which there is something to know; the others are left out. Three queries."""
    keys = list(machines)
    locks, recalls = locks_of(keys), open_for(keys)
    return {
        key: Warnings(locks.get(key), tuple(recalls.get(key, ()))) for key in {*locks, *recalls}
    }


def with_warnings(sheets: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Sheets of runs (`service.runs.queries.day.sheet`), each stop with `food_lock` and `recalls`.

    Three queries for all of them together.
    """
    told = [dict(one) for one in sheets]
    found = warnings_at({one["stop"].machine_id for sheet in told for one in sheet["stops"]})
    for sheet in told:
        sheet["stops"] = [
            {**one, "food_lock": each.food_lock, "recalls": each.recalls}
            for one in sheet["stops"]
            for each in [found.get(one["stop"].machine_id, Warnings())]
        ]
    return told
