"""The accountant's part of the day, through the API: tax filed and amended, a statement issued."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from demo.business.today import today
from demo.client import Client, Failed

Row = dict[str, Any]

STATES = ("FL", "AL")
PARTS = ("exempt", "taxable", "tax_inside", "deposits", "measured_otherwise", "unclassified")


def report_tax(books: Client) -> None:
    """Print the tax report of the open quarter, by state, and prove that its parts add up."""
    first, after = quarter(today())
    for state in STATES:
        made = books.get(
            "tax-reports", state=state, starts_on=first.isoformat(), ends_on=after.isoformat()
        )
        totals = made["figures"]["totals"]
        print(f"Sales tax of {state}, {first} to before {after}: receipts {totals['receipts']}")
        for line in made["figures"]["lines"]:
            rate = Decimal(line["rate"]) * 100
            print(
                f"  {', '.join(line['names']) or 'no place'}, {line['product_class']}, "
                f"{rate.normalize():f} %: receipts {line['receipts']}, taxable {line['taxable']}, "
                f"tax {line['tax']} ({line['citation'] or '; '.join(line['why'])})"
            )
        print(f"  Due {totals['tax']}; unclassified {totals['unclassified']}. {made['advice']}")
        parts = sum(Decimal(totals[name]) for name in PARTS)
        if parts != Decimal(totals["receipts"]):
            raise Failed(f"the parts of {state} come to {parts}, not {totals['receipts']}")
    _filed(books)


def _filed(books: Client) -> None:
    for filed in books.get("filings")["items"]:
        changes = books.get(f"filings/{filed['id']}/changes")
        print(
            f"{'Amended' if filed['amends'] else 'Filed'}: {filed['state']} {filed['starts_on']}, "
            f"tax {filed['tax']}; since then "
            f"{changes['receipts']} of receipts and {changes['tax']} of tax came to light"
        )


def file_days(books: Client, state: str, days: tuple[date, date]) -> Row:
    """File the return of days that are over, as previewed. Returns it."""
    asked = {"state": state, "starts_on": days[0].isoformat(), "ends_on": days[1].isoformat()}
    made = books.get("tax-reports", **asked)
    totals = made["figures"]["totals"]
    if not Decimal(totals["receipts"]):
        raise Failed(f"{state} has no receipts from {days[0]} to before {days[1]}")
    filed: Row = books.post("filings", {**asked, "seen": made["digest"]})
    print(
        f"Filed for {state}, {days[0]} to before {days[1]}: receipts {filed['receipts']}, tax "
        f"{filed['tax']}, digest {filed['digest'][:12]}"
    )
    if Decimal(filed["tax"]) != Decimal(totals["tax"]):
        raise Failed(f"{filed['tax']} of tax was filed, and {totals['tax']} was previewed")
    return filed


def amend(books: Client, filed: Row, sold: Decimal) -> None:
    """A read came late, of `sold` in the days that were filed: it shows, and is amended."""
    door = f"filings/{filed['id']}"
    found = books.get(f"{door}/changes")
    print(
        f"Came to light: {found['receipts']} of receipts and {found['tax']} of tax, by "
        f"{len(found['reads'])} reads"
    )
    if Decimal(found["receipts"]) != sold:
        raise Failed(f"{found['receipts']} came to light, and {sold} was sold")
    if books.get(door)["figures"] != filed["figures"]:
        raise Failed("a return that was filed has changed")
    given = {"note": "a read came late", "seen": found["digest"]}
    new = books.post(f"{door}/amend", given)
    print(
        f"Amended: receipts {filed['receipts']}, now {new['receipts']}; tax {filed['tax']}, now "
        f"{new['tax']}; the first return stays as it was filed"
    )
    left = books.get(f"filings/{new['id']}/changes")["receipts"]
    if Decimal(new["receipts"]) != Decimal(filed["receipts"]) + sold or Decimal(left):
        raise Failed("the amendment is not the first return and what came to light")


def issue_statement(books: Client) -> None:
    """End an agreement with steps and a minimum, issue its last statement, and agree anew."""
    agreements = books.get("commission-agreements")["items"]
    agreed = next(one for one in agreements if one["terms"]["steps"] and one["terms"]["minimum"])
    day = today()
    books.change(f"commission-agreements/{agreed['id']}", {"ends_on": day.isoformat()})
    last = (day - timedelta(days=1)).isoformat()
    found = books.get(f"commission-agreements/{agreed['id']}/preview", day=last)
    issued = books.post(
        "statements", {"agreement": agreed["id"], "day": last, "seen": found["digest"]}
    )
    _print_statement(issued)
    if issued["figures"] != found["figures"]:
        raise Failed("the statement is not as it was previewed")
    parts = sum(Decimal(line["amount"]) for line in issued["figures"]["machines"])
    if parts != Decimal(issued["amount"]) or not Decimal(issued["receipts"]):
        raise Failed(f"the machines' parts come to {parts}, not {issued['amount']}")
    kept = {name: agreed[name] for name in ("site", "rhythm", "terms")}
    books.post("commission-agreements", {**kept, "starts_on": day.isoformat()})


def _print_statement(issued: Row) -> None:
    figures = issued["figures"]
    print(
        f"Statement {issued['number']} for {figures['site']}, {issued['starts_on']} to before "
        f"{issued['ends_on']}: due {issued['due']}"
    )
    for said in figures["terms_said"]:
        print(f"  by the agreement: {said}")
    for line in figures["machines"]:
        print(
            f"  {line['machine']}: receipts {line['receipts']}, base {line['base']}, "
            f"commission {line['commission']}, to the minimum {line['minimum_added']}"
        )
    for said in figures.get("said", ()):
        print(f"  {said}")


def quarter(day: date) -> tuple[date, date]:
    """The calendar's quarter of a day: its first day and the first one after it."""
    first = date(day.year, (day.month - 1) // 3 * 3 + 1, 1)
    year, month = divmod(first.year * 12 + first.month - 1 + 3, 12)
    return first, date(year, month + 1, 1)
