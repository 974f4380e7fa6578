"""What a refrigerant asks of whoever works on a machine.

Safety classes: ASHRAE 34, from memory. Small appliances and recovery: 40 CFR 82.152 and 82.156, as
secondary texts tell. 150 g of a hydrocarbon to a circuit: read for ice machines (40 CFR 82 subpart
G, appendix V), the same for vending machines from memory. These are usual cautions and no more: the
plate, the maker's manual, local code and licensed trades come first.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final

from fleet.compute.results import Reason

HYDROCARBON_LIMIT_G: Final = Decimal(150)
SMALL_APPLIANCE_G: Final = Decimal("2267.96185")
"""5 lb of 453.59237 g, by definition."""
_BURNS: Final = frozenset({"R-290", "R-600A", "R-600", "R-1270", "R-170"})
_HARDLY_BURNS: Final = frozenset({"R-32", "R-1234YF", "R-1234ZE", "R-454C", "R-455A"})
_UNDER_PRESSURE: Final = frozenset({"R-744"})


def designation(refrigerant: str) -> str:
    """`r290` and `R 290` -> `R-290`; what is no designation stays as it is, in capitals."""
    text = refrigerant.strip().upper()
    match = re.fullmatch(r"R[\s-]*(\d{2,4}[A-Z]{0,3})", text)
    return f"R-{match[1]}" if match else text


def refrigerant_cautions(refrigerant: str, charge_g: Decimal | None) -> tuple[Reason, ...]:
    """What to mind before work on the circuit of a machine, by what its plate says."""
    if not refrigerant.strip():
        return (
            Reason(
                "refrigerant_unknown",
                "Its refrigerant is not recorded: read the plate before any work near the circuit, "
                "and take it to burn until you have.",
            ),
        )
    name = designation(refrigerant)
    found: list[Reason] = []
    charge = "" if charge_g is None else f", {charge_g.normalize():f} g"
    if name in _BURNS:
        found.append(
            Reason(
                "refrigerant_burns",
                f"{name}{charge} burns (class A3): no flame, spark or hot tool near it, air the "
                "place, keep its vents clear, and let only people trained for it open the circuit.",
            )
        )
        if charge_g is not None and charge_g > HYDROCARBON_LIMIT_G:
            found.append(
                Reason(
                    "charge_above_limit",
                    f"{charge_g.normalize():f} g is above the {HYDROCARBON_LIMIT_G} g that rules "
                    "allow in one circuit (for vending machines from memory): check the plate.",
                    {"charge_g": float(charge_g), "most_g": float(HYDROCARBON_LIMIT_G)},
                )
            )
    elif name in _HARDLY_BURNS:
        found.append(
            Reason(
                "refrigerant_hardly_burns",
                f"{name}{charge} burns, if slowly (class A2L): no flame or spark near it, air the "
                "place.",
            )
        )
    elif name in _UNDER_PRESSURE:
        found.append(
            Reason(
                "refrigerant_under_pressure",
                f"{name}{charge} stands under high pressure even when it is off, and takes the "
                "place of air in a closed room.",
            )
        )
    else:
        found.append(
            Reason("refrigerant_named", f"{name}{charge}: let none of it out into the air.")
        )
    if charge_g is None or charge_g <= SMALL_APPLIANCE_G:
        found.append(
            Reason(
                "recover_before_disposal",
                "Its refrigerant is recovered before it is thrown away: 90 percent with its "
                "compressor working, 80 without (40 CFR 82, small appliances; a secondary text), "
                "by a certified technician.",
            )
        )
    else:
        found.append(
            Reason(
                "not_a_small_appliance",
                f"{charge_g.normalize():f} g is more than a small appliance holds (5 lb, 40 CFR "
                "82.152): other rules hold.",
                {"charge_g": float(charge_g)},
            )
        )
    return tuple(found)
