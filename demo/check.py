"""A business day driven through the API: what `sh demo/run --check` does once the service is up.

A dispatcher and a driver sign in, ask what fits, plan a changeover and carry it out; a customer
reports a fault, which is given to a driver and mended; what the numbers suspect is shown; the next
day is planned and one of its runs driven; a machine is added, two of its audit files are handed in,
and what the service says it sold is held against what the simulator knows it sold; an accountant
files days that are over, amends them when a read comes late, and issues a host's last statement.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from demo.business import Business, marrowby
from demo.business.machines import asset_tag
from demo.business.people import PASSWORD, PEOPLE
from demo.business.today import today
from demo.client import Client, Failed
from demo.faultwork import report_and_mend, show_findings
from demo.moneywork import amend, file_days, issue_statement, report_tax
from demo.roadwork import plan_and_drive
from demo.simulator import Simulated, SimulatedFile, simulate_with_truth
from demo.simulator.truth import Vend

LIKE = asset_tag("S01", "A")
NEW = "MV-2001"
# The lobby machine's column of tall cans; it goes over to another package.
COLUMN = "6"
# Of the days before today so many are filed, before a read of them comes late.
DAYS_FILED = 10


def main(base_url: str, *, weeks: int, until: date) -> int:
    """Drive the day at `base_url`, print what was seen, and return the exit code.

    `until` is the day of the business that was loaded there, `weeks` how far back it goes.
    """
    try:
        _day(base_url, weeks, until)
    except Failed as failed:
        print(f"The check failed: {failed}")
        return 1
    print("The day is done; every answer was as it should be.")
    return 0


def _day(base_url: str, weeks: int, until: date) -> None:
    ready = Client(base_url).get("/readyz")
    print("Ready: " + ", ".join(f"{part} {state}" for part, state in ready.items()))
    desk, road = (_with_role(base_url, role) for role in ("dispatcher", "driver"))
    column, product = _ask_what_fits(desk)
    changeover = _plan(desk, column, product)
    _carry_out(road, changeover)
    business = marrowby(until)
    truth = simulate_with_truth(business, until, weeks=weeks).truth
    report_and_mend(base_url, desk, partial(_signed_in, base_url), business)
    show_findings(desk)
    plan_and_drive(desk, partial(_signed_in, base_url), business, truth)
    late = _hand_in_two_reads(desk, road)
    books = _with_role(base_url, "accountant")
    filed = file_days(books, late.state, late.days)
    _hand_in(road, late.file)
    amend(books, filed, late.sold)
    report_tax(books)
    issue_statement(books)


def _with_role(base_url: str, role: str) -> Client:
    return _signed_in(base_url, next(one.email for one in PEOPLE if role in one.roles))


def _signed_in(base_url: str, email: str) -> Client:
    client = Client.signed_in(base_url, email=email, password=PASSWORD, device="the check")
    me = client.get("me")
    print(f"Signed in: {me['name']}, {', '.join(me['roles'])}")
    return client


def _ask_what_fits(desk: Client) -> tuple[dict[str, Any], dict[str, Any]]:
    """A column of the lobby machine that holds something now, and another product that fits it."""
    machine = next(iter(desk.pages("machines", search=LIKE)))
    columns = desk.get(f"machines/{machine['id']}/columns")
    column = next(one for one in columns if one["position_label"] == COLUMN)
    held = desk.get(f"products/{column['set_up']['product']}")
    for found in desk.get(f"columns/{column['id']}/what-fits"):
        if found["verdict"] == "fits" and found["package"] != held["package"]:
            answer = desk.get(f"columns/{column['id']}/fit", product=found["product"])
            _print_fit(machine, column, found["product_name"], answer)
            return column, found
    raise Failed(f"nothing of another package fits column {COLUMN} of {LIKE}")


def _print_fit(
    machine: dict[str, Any], column: dict[str, Any], product: str, answer: dict[str, Any]
) -> None:
    print(
        f"Asked: does {product} go in {machine['asset_tag']} column {column['position_label']}, "
        f"which holds {column['set_up']['product_name']}?"
    )
    settings = ", ".join(
        f"{side} {answer[side]['notch']} ({answer[side]['said']})"
        for side in ("front", "rear")
        if answer[side]
    )
    print(
        f"  {answer['verdict']}: {answer['deep']} deep, {settings}; program {answer['program']}; "
        f"holds {answer['capacity']['units']}"
    )
    for reason in (*answer["reasons"], *answer["cautions"]):
        print(f"  - {reason['text']}")


def _plan(desk: Client, column: dict[str, Any], product: dict[str, Any]) -> dict[str, Any]:
    plan = desk.post(
        "changeover-plans",
        {
            "purpose": f"{product['product_name']} instead of {column['set_up']['product_name']}",
            "planned_for": today().isoformat(),
            "lines": [{"column": column["id"], "product": product["product"]}],
        },
    )
    print(f"Planned: {plan['purpose']}")
    return plan["changeovers"][0]


def _carry_out(road: Client, planned: dict[str, Any]) -> None:
    door = f"changeovers/{planned['id']}"
    for step in road.get(f"{door}/sheet")["steps"]:
        print(f"  {step['setting'] or '·':>10}  {step['text']}")
    road.post(f"{door}/take", key=f"take-{planned['id']}")
    before = road.get(door)["from_set_up"]
    held = road.get(f"set-ups/{before}")["product"]
    left = {
        "as_left": {
            name: planned[name]
            for name in (
                "deep",
                "front_setting",
                "rear_setting",
                "program",
                "price",
                "orientation",
            )
        },
        "removed": [{"product": held, "condition": "good", "count": 11}],
        "test_vends_made": planned["test_vends_asked"],
        "test_vends_passed": planned["test_vends_asked"],
        "picture_matches": True,
    }
    # Sent twice, as from a basement without an answer; the second changes nothing.
    done, again = (
        road.post(f"{door}/complete", left, key=f"complete-{planned['id']}") for _ in range(2)
    )
    _must(done == again, "the same key gave another answer", done, again)
    _must(done["state"] == "done", "the changeover is not done", done["state"])
    old, new = (road.get(f"set-ups/{pk}") for pk in (before, done["to_set_up"]))
    _must(old["ends_at"] == new["starts_at"], "the set-ups do not meet", old, new)
    print(
        f"Completed: {new['product_name']} since {new['starts_at']}, {new['deep']} deep, "
        f"holds {new['capacity']}; {old['product_name']} ended then"
    )


@dataclass(frozen=True)
class Late:
    """A read between two that were handed in: of which state, and what was sold until then in days
    that begin before it and end before the last."""

    file: SimulatedFile
    state: str
    days: tuple[date, date]
    sold: Decimal


def _hand_in_two_reads(desk: Client, road: Client) -> Late:
    day = today()
    simulated = _simulated(day)
    files = [file for file in simulated.files if file.machine_tag == NEW]
    first, last = files[1], files[-1]
    machine, site = _add_machine(desk, day)
    _hand_in(road, first, last)
    again = road.send_files("reads", {first.name: first.data})["outcomes"][0]
    _must(again["result"] == "duplicate", "the same file twice was not noticed", again)
    print(f"Handed in {first.name} again: {again['said']}")
    interval = next(iter(desk.pages("machine-intervals", machine=machine["id"])))
    lines = list(desk.pages("sale-intervals", machine=machine["id"]))
    print(
        f"Sold from {interval['starts_at']} to {interval['ends_at']}: {interval['paid_units']} "
        f"for {interval['paid_money']} {interval['currency']} "
        f"({interval['cash_units']} cash, {interval['cashless_units']} cashless)"
    )
    for line in sorted(lines, key=lambda one: one["position"] or ""):
        print(
            f"  column {line['position']:>2}  {line['product_name'] or '—':<28}"
            f"{line['paid_units'] or 0:>4}  {line['paid_money'] or '0':>8}"
        )
    _hold_against_truth(simulated, first, last, interval, lines)
    between = files[len(files) // 2]
    sold = sum(vend.price_minor for vend in _paid(simulated, first, between))
    days = (day - timedelta(days=DAYS_FILED), last.written_at.date())
    return Late(between, site["state"], days, Decimal(sold).scaleb(-2))


def _hand_in(road: Client, *files: SimulatedFile) -> None:
    sent = road.send_files("reads", {file.name: file.data for file in files})
    for outcome in sent["outcomes"]:
        print(f"Handed in {outcome['name']}: {outcome['result']}. {outcome['said']}")
        _must(outcome["result"] == "accepted", "a read was not accepted", outcome)


def _paid(simulated: Simulated, first: SimulatedFile, last: SimulatedFile) -> list[Vend]:
    vends = simulated.truth[NEW].between(first.written_at, last.written_at)
    return [vend for vend in vends if vend.how == "paid"]


def _hold_against_truth(
    simulated: Simulated,
    first: SimulatedFile,
    last: SimulatedFile,
    interval: dict[str, Any],
    lines: list[dict[str, Any]],
) -> None:
    vends = _paid(simulated, first, last)
    value = sum(vend.price_minor for vend in vends)
    _must(interval["sum_agrees"], "the columns do not add up to the machine", interval)
    _must(interval["paid_units"] == len(vends), "units", interval["paid_units"], len(vends))
    _must(
        interval["paid_money"] == f"{value // 100}.{value % 100:02d}",
        "money",
        interval["paid_money"],
        value,
    )
    for line in lines:
        true = sum(vend.column == line["position"] for vend in vends)
        _must((line["paid_units"] or 0) == true, f"column {line['position']}", line, true)
    print("  which is what was truly sold, column by column")


def _simulated(day: date) -> Simulated:
    """A week of one more machine, like the one in the lobby."""
    business = marrowby(day)
    like = business.machine(LIKE)
    held = [one for one in business.set_ups_of(LIKE) if one.ends is None]
    week_ago = day - timedelta(days=8)
    alone: Business = replace(
        business,
        machines=(replace(like, asset_tag=NEW, serial="NEW0002001", placed_on=week_ago),),
        set_ups=(
            *business.set_ups,
            *(replace(one, asset_tag=NEW, starts=week_ago) for one in held),
        ),
    )
    return simulate_with_truth(alone, day, weeks=1)


def _add_machine(desk: Client, day: date) -> tuple[dict[str, Any], dict[str, Any]]:
    """Put the new machine into the books: its selections, its place, and every column's set-up."""
    business = marrowby(day)
    kind = business.kind(business.machine(LIKE).kind_name)
    row = _named(desk, "kinds", kind.name)
    machine = desk.post(
        "machines",
        {
            "kind": row["id"],
            "asset_tag": NEW,
            "selections": [
                {"code": button.code, "positions": list(button.columns)} for button in kind.buttons
            ],
        },
    )
    since = (datetime.now(UTC) - timedelta(days=9)).isoformat()
    site = next(one for one in desk.pages("sites") if one["purpose"] == "host")
    desk.post(f"machines/{machine['id']}/placements", {"site": site["id"], "starts_at": since})
    products = {row["name"]: row["id"] for row in desk.pages("products")}
    programs = {one["name"]: one["id"] for one in desk.get(f"kinds/{row['id']}")["programs"]}
    held = {one.column: one for one in business.set_ups_of(LIKE) if one.ends is None}
    for column in desk.get(f"machines/{machine['id']}/columns"):
        one = held[column["position_label"]]
        desk.post(
            f"columns/{column['id']}/set-ups",
            {
                "product": products[business.product(one.product_code).name],
                "deep": one.deep,
                "front_setting": one.front_notch,
                "rear_setting": one.rear_notch,
                "program": programs[one.program or ""],
                "price": f"{one.price_minor / 100:.2f}",
                "starts_at": since,
            },
        )
    print(f"Added {NEW} at {site['name']}, with {len(held)} columns as found")
    return machine, site


def _named(client: Client, path: str, name: str) -> dict[str, Any]:
    for row in client.pages(path):
        if row["name"] == name:
            return row
    raise Failed(f"{path} has no {name!r}")


def _must(true: object, what: str, *seen: object) -> None:
    if not true:
        raise Failed(f"{what}: {', '.join(repr(one) for one in seen)}")
