"""A day on the road driven through the API: planned, agreed, loaded, driven and counted.

The truck is loaded with what the warehouse has, the machines are counted as the simulator left
them, and what was moved is added up against what the service says it holds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from demo.business import Business
from demo.business.today import today
from demo.client import Client, Failed, Refused
from demo.simulator.goods import units
from demo.simulator.truth import Truth

MOST_DAYS_AHEAD = 7
MACHINES_SHOWN = 12
STOPS_DRIVEN = 3
LINES_AT_ONCE = 100

Row = dict[str, Any]


def plan_and_drive(
    desk: Client, sign_in: Callable[[str], Client], business: Business, truth: Truth
) -> None:
    """Plan the next working day, agree, and carry one of its runs out as its driver."""
    plan = _planned(desk)
    _print_reasons(desk, plan)
    agreed = desk.post(f"day-plans/{plan['id']}/agree", key=f"agree-{plan['id']}")
    _must(agreed["state"] == "agreed", "the plan is not agreed", agreed["state"])
    run = max(agreed["runs"], key=lambda run: (len(run["stops"]), -run["id"]))
    email = next(one.email for one in business.people if one.name == run["driver_name"])
    _Drive(desk, sign_in(email), business, truth, run).carry_out()


def _planned(desk: Client) -> Row:
    first = today()
    for ahead in range(1, MOST_DAYS_AHEAD + 1):
        day = (first + timedelta(days=ahead)).isoformat()
        try:
            plan: Row = desk.post("day-plans", {"date": day})
        except Refused as refused:
            if refused.code != "nobody_drives":
                raise
            print(f"Nobody drives on {day}")
            continue
        if plan["runs"]:
            return plan
        closed = plan["inputs"].get("closed")
        print(f"Nobody goes out on {day}: {closed or 'nothing is worth the way'}")
    raise Failed(f"there is nothing to drive for within {MOST_DAYS_AHEAD} days")


def _print_reasons(desk: Client, plan: Row) -> None:
    asked = list(desk.pages("planned-machines", plan=plan["id"]))
    chosen = [one for one in asked if one["included"]]
    runs = len(plan["runs"])
    print(f"Planned {plan['date']}: {len(chosen)} of {len(asked)} machines on {runs} runs")
    for run in plan["runs"]:
        print(f"  {run['driver_name']} with {run['vehicle_name']}, {len(run['stops'])} stops")
        for stop in run["stops"]:
            why = next(one for one in chosen if one["machine"] == stop["machine"])
            print(f"  {stop['planned_arrive']}  {stop['asset_tag']:<8} {_said(why)}")
    left = [one for one in asked if not one["included"]]
    for one in left[:MACHINES_SHOWN]:
        print(f"  not      {one['asset_tag']:<8} {_said(one)}")
    _must(all(one["reasons"] for one in asked), "a machine is in or out without a reason", asked)


def _said(one: Row) -> str:
    return " ".join(reason["said"] for reason in one["reasons"])


class _Drive:
    """One run, from the load to the count of the truck."""

    def __init__(
        self, desk: Client, road: Client, business: Business, truth: Truth, run: Row
    ) -> None:
        self._desk = desk
        self._road = road
        self._truth = truth
        self._run = run
        self._names = {product.code: product.name for product in business.products}
        self._moved: Counter[str] = Counter()
        self._truck: Counter[int] = Counter()

    def carry_out(self) -> None:
        sheet = next(
            one
            for one in self._road.get("road/day", date=self._run["date"])["runs"]
            if one["run"]["id"] == self._run["id"]
        )
        self._truck = _by_product(sheet["truck"])
        before = self._truck.total()
        self._load()
        self._act("runs", self._run["id"], "start")
        for stop in sheet["stops"][:STOPS_DRIVEN]:
            self._visit(stop)
        for stop in sheet["stops"][STOPS_DRIVEN:]:
            self._act("stops", stop["stop"]["id"], "skip", reason="the check ends before it")
        self._end()
        moved = self._moved
        _must(
            self._truck.total() == before + moved["picked"] - moved["filled"],
            "the truck does not hold what was put on it less what was taken off",
            before,
            dict(moved),
            self._truck.total(),
        )
        print(
            f"Moved: {moved['picked']} from the warehouse to {self._run['vehicle_name']}, "
            f"{moved['filled']} into columns, {moved['thrown']} thrown away; the truck held "
            f"{before} and holds {self._truck.total()}"
        )

    def _load(self) -> None:
        there: Counter[int] = Counter()
        for level in self._desk.pages("stock-levels", kind="warehouse"):
            if level["place_name"] == self._run["depot_name"]:
                there[level["product"]] += level["quantity"]
        load = self._desk.post(f"runs/{self._run['id']}/make-load")
        lines = []
        for line in (line for stop in load["by_stop"] for line in stop["lines"]):
            picked = min(line["wanted"], there[line["product"]])
            there[line["product"]] -= picked
            self._moved["picked"] += picked
            lines.append({"line": line["id"], "picked": picked})
        for start in range(0, len(lines), LINES_AT_ONCE):
            self._act("runs", self._run["id"], "pick", lines=lines[start : start + LINES_AT_ONCE])
        wanted = sum(line["wanted"] for stop in load["by_stop"] for line in stop["lines"])
        print(f"Loaded {self._moved['picked']} of {wanted} units wanted, on {len(lines)} lines")

    def _visit(self, sheet: Row) -> None:
        stop = sheet["stop"]
        self._act("stops", stop["id"], "arrive")
        found = self._found(sheet)
        counted = self._act(
            "stops",
            stop["id"],
            "count",
            lines=[{"column": column, "count": count} for column, count in found.items()],
        )
        off = sum(abs(one["difference"]) for one in counted["counts"])
        old = {c["column"]: min(c["pull_units"], found[c["column"]]) for c in sheet["columns"]}
        thrown = [
            {
                "column": column["column"],
                "product": column["product"],
                "quantity": old[column["column"]],
                "waste_reason": "out_of_date",
            }
            for column in sheet["columns"]
            if old[column["column"]]
        ]
        if thrown:
            self._act("stops", stop["id"], "remove", lines=thrown)
            self._moved["thrown"] += sum(old.values())
        filled = self._fill(sheet, {key: count - old[key] for key, count in found.items()})
        self._act("stops", stop["id"], "bag", seal_number=f"CHECK-{stop['id']}")
        left = self._act("stops", stop["id"], "leave")
        _must(left["stop"]["state"] == "done", "the stop is not done", left["stop"])
        print(
            f"Visited {stop['asset_tag']} at {stop['site_name']}: counted "
            f"{sum(found.values())} in {len(found)} columns, {off} otherwise than the book; "
            f"filled {filled}, threw {sum(old.values())} away"
        )

    def _found(self, sheet: Row) -> dict[int, int]:
        """What lies in each column; nothing of a product that it was given only now."""
        held = self._truth[sheet["stop"]["asset_tag"]].held
        found = {}
        for column in sheet["columns"]:
            lines = held.get(column["position"], ())
            same = all(self._names[lot.product_code] == column["product_name"] for lot, _ in lines)
            found[column["column"]] = units(lines) if same else 0
        return found

    def _fill(self, sheet: Row, there: Mapping[int, int]) -> int:
        carried, lines = Counter(self._truck), []
        for column in sheet["columns"]:
            room = (column["fill_to"] or column["capacity"] or 0) - there[column["column"]]
            put_in = min(max(room, 0), carried[column["product"]])
            if put_in:
                carried[column["product"]] -= put_in
                lines.append(
                    {
                        "column": column["column"],
                        "product": column["product"],
                        "quantity": put_in,
                    }
                )
        if not lines:
            return 0
        # Sent twice, as from a basement without an answer; the second changes nothing.
        at, key = datetime.now(UTC), f"fill-{sheet['stop']['id']}"
        done, again = (
            self._act("stops", sheet["stop"]["id"], "fill", at=at, key=key, lines=lines)
            for _ in range(2)
        )
        _must(done == again, "the same key gave another answer", done, again)
        filled: int = sum(line["quantity"] for line in lines)
        self._moved["filled"] += filled
        return filled

    def _end(self) -> None:
        counted = [{"product": key, "count": count} for key, count in (+self._truck).items()]
        ended = self._act("runs", self._run["id"], "end", truck=counted)
        _must(ended["run"]["state"] == "ended", "the run has not ended", ended["run"])
        _must(ended["differences"] == [], "the truck is not as counted", ended["differences"])

    def _act(
        self,
        noun: str,
        number: int,
        verb: str,
        *,
        at: datetime | None = None,
        key: str | None = None,
        **more: Any,
    ) -> Row:
        at = at or datetime.now(UTC)
        answer: Row = self._road.post(
            f"road/{noun}/{number}/{verb}",
            {"at": at.isoformat(), **more},
            key=key or f"{verb}-{number}-{at.timestamp()}",
        )
        self._truck = _by_product(answer["truck"])
        return answer


def _by_product(truck: list[Row]) -> Counter[int]:
    held: Counter[int] = Counter()
    for line in truck:
        held[line["product"]] += line["holds"]
    return held


def _must(true: object, what: str, *seen: object) -> None:
    if not true:
        raise Failed(f"{what}: {', '.join(repr(one) for one in seen)}")
