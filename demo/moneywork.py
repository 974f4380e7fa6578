"""The accountant's part of the day, through the API: the quarter's tax, and returns filed."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from demo.business.today import today
from demo.client import Client, Failed

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
            f"Filed: {filed['state']} {filed['starts_on']}, tax {filed['tax']}; since then "
            f"{changes['receipts']} of receipts and {changes['tax']} of tax came to light"
        )


def show_statement(books: Client) -> None:
    """Preview the statement of a host with steps and a minimum, and prove that it adds up."""
    agreements = books.get("commission-agreements")["items"]
    agreed = next(one for one in agreements if one["terms"]["steps"])
    found = books.get(f"commission-agreements/{agreed['id']}/preview", day=today().isoformat())
    figures = found["figures"]
    print(f"Statement from {found['starts_on']} to before {found['ends_on']}: due {found['due']}")
    print(f"  {figures['site']}: " + "; ".join(figures["terms_said"]))
    for line in figures["machines"]:
        print(
            f"  {line['machine']}: receipts {line['receipts']}, base {line['base']}, "
            f"commission {line['commission']}, to the minimum {line['minimum_added']}"
        )
    parts = sum(Decimal(line["amount"]) for line in figures["machines"])
    if parts != Decimal(figures["amount"]):
        raise Failed(f"the machines' parts come to {parts}, not {figures['amount']}")
    for issued in books.get("statements")["items"]:
        print(
            f"Issued: statement {issued['number']} of {issued['starts_on']}, due {issued['due']}, "
            f"open {issued['open']}"
        )


def quarter(day: date) -> tuple[date, date]:
    """The calendar's quarter of a day: its first day and the first one after it."""
    first = date(day.year, (day.month - 1) // 3 * 3 + 1, 1)
    year, month = divmod(first.year * 12 + first.month - 1 + 3, 12)
    return first, date(year, month + 1, 1)
