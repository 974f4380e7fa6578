"""The plans that the service is delivered with, for staff to change.

Intervals are common practice in the trade, no published source, unless `grounds` says otherwise.
"""

from typing import Any, Final

COMMON: Final = "Common practice, no published source. The maker's manual goes first."
UNPLUG: Final = (
    "Unplug the machine before working behind panels. The maker's manual and local code go before "
    "this list."
)
COOLING: Final = (
    f"{UNPLUG} Fins and fan blades cut: wear gloves, and keep out of a turning fan. A sealed "
    "refrigeration circuit is for licensed technicians only."
)
MOVING: Final = (
    f"{UNPLUG} To move a cabinet takes two people and a proper hand truck: with stock it weighs "
    "300 kg and more. Anchor or block it against tipping. A sealed refrigeration circuit is for "
    "licensed technicians only."
)

USUAL: Final[tuple[dict[str, Any], ...]] = (
    {
        "name": "Condenser coil and screen",
        "applies_to": "refrigerated",
        "trigger": "days",
        "every_days": 91,
        "minutes": 20,
        "checklist": [
            "Machine unplugged",
            "Screen taken out, brushed and rinsed",
            "Coil brushed along the fins and vacuumed",
            "Fan turns freely and blows, nothing near it",
            "Air can pass behind and below the cabinet",
            "Plugged in again, compressor starts",
        ],
        "readings_asked": [
            {"what": "cabinet_c", "least": "0", "most": "5"},
            {"what": "compressor_a", "least": None, "most": None},
        ],
        "cautions": COOLING,
        "notice_days": 14,
        "grounds": f"Every 3 months, monthly in dust. {COMMON}",
    },
    {
        "name": "Coin path",
        "applies_to": "all",
        "trigger": "days",
        "every_days": 61,
        "minutes": 10,
        "checklist": [
            "Coin slot, gate and chutes cleaned",
            "Reject lever and button move freely",
            "Each coin accepted and paid out again",
            "Tubes hold enough change",
        ],
        "readings_asked": [],
        "cautions": UNPLUG,
        "notice_days": 7,
        "grounds": f"Monthly to quarterly. {COMMON}",
    },
    {
        "name": "Note path",
        "applies_to": "all",
        "trigger": "days",
        "every_days": 61,
        "minutes": 10,
        "checklist": [
            "Note path and sensors wiped",
            "Belts and rollers clean and whole",
            "Each kind of note accepted at the first try",
            "Note box seated",
        ],
        "readings_asked": [],
        "cautions": UNPLUG,
        "notice_days": 7,
        "grounds": f"Monthly to quarterly. {COMMON}",
    },
    {
        "name": "Drop sensor and chute",
        "applies_to": "drop_sensor",
        "trigger": "days",
        "every_days": 28,
        "minutes": 5,
        "checklist": [
            "Sensor windows wiped",
            "Chute and delivery door wiped",
            "A test vend is seen by the sensor",
        ],
        "readings_asked": [],
        "cautions": "Keep hands out of the chute while a motor can turn.",
        "notice_days": 7,
        "grounds": f"At each visit where product is sticky; monthly is assumed here. {COMMON}",
    },
    {
        "name": "Door gasket and lights",
        "applies_to": "all",
        "trigger": "days",
        "every_days": 182,
        "minutes": 15,
        "checklist": [
            "Gasket clean, whole, and tight all around",
            "Hinges and lock close the door firmly",
            "All lights burn",
            "Display can be read",
        ],
        "readings_asked": [],
        "cautions": UNPLUG,
        "notice_days": 14,
        "grounds": f"Twice a year. {COMMON}",
    },
    {
        "name": "Drain pan and level",
        "applies_to": "refrigerated",
        "trigger": "days",
        "every_days": 365,
        "minutes": 25,
        "checklist": [
            "Drain pan emptied and cleaned",
            "Drain hose free",
            "Cabinet stands level from side to side and front to back",
            "Anchored or blocked against tipping",
        ],
        "readings_asked": [{"what": "level_mm_m", "least": "0", "most": "5"}],
        "cautions": MOVING,
        "notice_days": 21,
        "grounds": f"Yearly. The band of the level is assumed. {COMMON}",
    },
)
