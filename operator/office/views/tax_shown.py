"""Figures of a report of tax as its page shows them, lines of one reckoning together."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any

from service.compliance import tax_tables
from service.compliance.queries.undecided import AllUndecided
from service.compute.tax.report import SUMMED

SHARED_OUT = "in all under this rule; this is its part"


def lines(said: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Lines with the words that a page shows beside their figures, numbered as the report has
    them."""
    return [
        {
            **one,
            **{name: Decimal(one[name]) for name in SUMMED},
            "number": number,
            "place": ", ".join(one["names"]) or one["state"] or "no place",
            "class_words": tax_tables.row(one)[2],
            "percent": tax_tables.percent(one["rate"]),
            "due": [
                {
                    **part,
                    "percent": tax_tables.percent(part["rate"]),
                    "tax": Decimal(part["tax"]),
                }
                for part in one["due"]
            ],
            "checked": tax_tables.checked(one),
            "verified": one["status"] == "read",
        }
        for number, one in enumerate(said["lines"], start=1)
    ]


def groups(shown: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Lines of one place and rule together, for they are reckoned as one sum, with that sum; lines
    without a rule, or reckoned each by itself, say how beside their own figures."""
    order: dict[tuple[str, ...], int] = {}
    for one in shown:
        order.setdefault(_together(one), len(order))
    found = []
    for _, held in groupby(sorted(shown, key=lambda one: order[_together(one)]), _together):
        some = list(held)
        how = _how(some[0])
        alike = all(_how(one) == how for one in some)
        found.append(
            {
                "first": some[0],
                "how": how if alike else (),
                "lines": [{**one, "how": () if alike else _how(one)} for one in some],
                "sums": {name: sum((one[name] for one in some), Decimal(0)) for name in SUMMED},
                "units": sum(one["units"] for one in some),
            }
        )
    return found


def totals(said: Mapping[str, Any]) -> dict[str, Any]:
    """Totals of a report, and what is due to whom, as money."""
    sums = said["totals"]
    names = {part["code"]: part["name"] for one in said["lines"] for part in one["due"]}
    return {
        **{name: Decimal(sums[name]) for name in SUMMED},
        "units": sums["units"],
        "due": [(names.get(code, code), Decimal(tax)) for code, tax in said["due"].items()],
    }


def notes(said: Mapping[str, Any], undecided: AllUndecided) -> list[str]:
    """What must be known besides the intervals that the page names with their links."""
    linked = set(undecided.said)
    return [one for one in said["said"] if one not in linked]


def _together(line: Mapping[str, Any]) -> tuple[str, ...]:
    return line["state"], ",".join(line["jurisdictions"]), line["rule"], line["percent"]


def _how(line: Mapping[str, Any]) -> tuple[str, ...]:
    """The reckoning, without what is said only of a part of one sum."""
    return tuple(one for one in line["why"] if not one.endswith(SHARED_OUT))
