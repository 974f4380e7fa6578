"""Sixty machines, where they stand, and how their counters come in."""

from __future__ import annotations

from datetime import date, timedelta

from demo.business.kinds import BOTH_SIDES, DOOR_SIDE, SPIRAL, TWIN
from demo.business.shapes import Agreement, Machine
from demo.business.sites import SITES

_KINDS = {"A": DOOR_SIDE, "B": TWIN, "C": BOTH_SIDES, "S": SPIRAL}

STANDING = {
    "S01": "AS", "S02": "B", "S03": "AS", "S04": "C", "S05": "BS", "S06": "ABS", "S07": "C",
    "S08": "AS", "S09": "C", "S10": "B", "S11": "ABS", "S12": "CS", "S13": "A", "S14": "A",
    "S15": "AS", "S16": "B", "S17": "BS", "S18": "C", "S19": "A", "S20": "A", "S21": "B",
    "S22": "AS", "S23": "C", "S24": "A", "S25": "C", "S26": "A", "S27": "CS", "S28": "ACS",
    "S29": "B", "S30": "BS", "S31": "C", "S32": "B", "S33": "ABS", "S34": "C", "S35": "AS",
    "S36": "A", "S37": "B", "S38": "BS", "S39": "A", "S40": "C",
}  # fmt: skip

# A driver goes on working days; the busier the trade, the oftener.
_ROUNDS = {
    "plant": ((0, 2, 4), (0, 2, 4)),
    "hospital": ((0, 2, 4), (1, 3, 4)),
    "depot": ((1, 4), (0, 3)),
    "school": ((0, 3), (1, 4)),
    "office": ((1, 4), (0, 3)),
    "inn": ((0, 3), (2, 4)),
    "gym": ((2, 4), (1, 4)),
    "library": ((0, 3), (1, 4)),
}

# Each driver goes to the sites from one on, until the next driver's.
_ROUTES = (("S01", "tamsin"), ("S10", "oluchi"), ("S22", "anselm"), ("S33", "dorian"))

NIGHTLY = "nightly"
AT_VISITS = "at visits"
CASH = "cash"
CASHLESS = "cashless"


def asset_tag(site_code: str, letter: str) -> str:
    """The tag of the one machine of that kind at a site."""
    number = 1001
    for site in SITES:
        standing = STANDING[site.code]
        if site.code == site_code:
            return f"MV-{number + standing.index(letter)}"
        number += len(standing)
    raise KeyError(f"no site {site_code}")


def _driver(site_code: str) -> str:
    return next(driver for first, driver in reversed(_ROUTES) if first <= site_code)


def _payments(number: int) -> tuple[str, ...]:
    if number in (1023, 1047):
        return (CASHLESS,)
    if number % 9 == 4:
        return (CASH,)
    return (CASH, CASHLESS)


def machines(until: date) -> tuple[Machine, ...]:
    """Every machine of the business; they were placed between one and seven years before."""
    placed: list[Machine] = []
    for place, site in enumerate(SITES):
        rounds = _ROUNDS[site.trade]
        for letter in STANDING[site.code]:
            number = 1001 + len(placed)
            placed_on = until - timedelta(days=400 + (number * 277) % 2100)
            placed.append(
                Machine(
                    asset_tag=f"MV-{number}",
                    serial=f"ZZZ{7_000_000 + 137 * number}",
                    kind_name=_KINDS[letter],
                    site_code=site.code,
                    placed_on=placed_on,
                    reads=AT_VISITS if number % 5 == 3 else NIGHTLY,
                    payments=_payments(number),
                    visit_weekdays=rounds[place % 2],
                    driver_email=f"{_driver(site.code)}@marrowby.example.org",
                    # New, or bought from another business that had it for some years.
                    made_on=placed_on - timedelta(days=90 + (number * 613) % 2400),
                )
            )
    return tuple(placed)


# What hosts were promised in writing; most are content with a visit when it is needed.
AGREEMENTS = (
    Agreement(asset_tag("S06", "A"), 4),
    Agreement(asset_tag("S06", "B"), 4),
    Agreement(asset_tag("S07", "C"), 7),
    Agreement(asset_tag("S11", "A"), 4),
    Agreement(asset_tag("S30", "B"), 7),
    Agreement(asset_tag("S37", "B"), 7),
    Agreement(asset_tag("S09", "C"), 14),
    Agreement(asset_tag("S40", "C"), 14),
)
