"""The words that the service is delivered with. All of it is common practice in the trade, with no
published source; the business changes it as it likes."""

from typing import Final, NamedTuple

PANELS: Final = "Unplug the machine before working behind its panels, as the maker's manual says."
SEALED: Final = (
    "The sealed refrigeration circuit is for licensed technicians; follow local code. Unplug the "
    "machine before cleaning the condenser or touching the fan."
)
TIPPING: Final = (
    "A cabinet weighs 300 kg and more with its stock: two people and a proper hand truck to move "
    "it, and block or anchor it against tipping."
)


class SeedSymptom(NamedTuple):
    code: str
    words: str
    urgency: str
    asks_column: bool
    work_minutes: int
    first_checks: tuple[str, ...]
    cautions: str


SYMPTOMS: Final = (
    SeedSymptom(
        "nothing_came",
        "took money, gave nothing",
        "part",
        True,
        30,
        ("Product standing across the column", "Drop sensor dirty", "Motor and its home switch"),
        PANELS,
    ),
    SeedSymptom(
        "two_for_one",
        "two for one",
        "part",
        True,
        30,
        (
            "Depth program against how deep the column is loaded",
            "Spacer worn or crooked",
            "Package shorter than the chart says",
        ),
        PANELS,
    ),
    SeedSymptom(
        "sold_out_full",
        "sold out while full",
        "part",
        True,
        30,
        (
            "Depth program against how deep the column is loaded",
            "Play, from the bottom of the plate to its top",
            "Drop sensor dirty",
            "Motor and its home switch",
        ),
        PANELS,
    ),
    SeedSymptom(
        "silent",
        "hardly sells any more",
        "part",
        True,
        30,
        (
            "Look whether it is full and in date",
            "Vend it: sold out while full, price, picture",
            "Play and depth program",
        ),
        PANELS,
    ),
    SeedSymptom(
        "wrong_product",
        "wrong product",
        "part",
        True,
        20,
        ("What lies in the column against its button", "Wiring of front and rear columns"),
        PANELS,
    ),
    SeedSymptom(
        "wrong_price",
        "wrong price or picture",
        "part",
        True,
        15,
        ("Price as programmed against the label", "The button's picture against the product"),
        "",
    ),
    SeedSymptom(
        "coins",
        "coins",
        "part",
        False,
        30,
        ("Coin path dirty", "Machine out of level", "Tubes low: exact change only"),
        PANELS,
    ),
    SeedSymptom("notes", "notes", "part", False, 30, ("Belts worn", "Note path dirty"), PANELS),
    SeedSymptom(
        "cards",
        "cards",
        "part",
        False,
        20,
        ("Reader's power and signal", "A test sale by card"),
        PANELS,
    ),
    SeedSymptom(
        "nothing_works",
        "sells nothing at all",
        "down",
        False,
        45,
        ("Power at the site", "Door closed and latched", "Every way of paying, one by one"),
        PANELS,
    ),
    SeedSymptom(
        "warm",
        "warm",
        "down",
        False,
        45,
        ("Condenser dirty", "Fan running", "Door gasket", "Air blocked in front or behind"),
        SEALED,
    ),
    SeedSymptom(
        "leak",
        "leak",
        "part",
        False,
        30,
        ("Drain pan and level", "A burst or leaking package", "Ice and the door gasket"),
        "A wet floor is slippery and water near a plug is dangerous: unplug first. " + SEALED,
    ),
    SeedSymptom(
        "door_lock",
        "door or lock",
        "down",
        False,
        30,
        ("Hinges and latch", "Lock and its key", "Gasket, and products in the way"),
        TIPPING,
    ),
    SeedSymptom(
        "damage",
        "damage",
        "part",
        False,
        45,
        ("Broken glass and sharp edges", "Cash and coin box", "Photographs before anything moves"),
        "Leave a forced machine as it is until it was photographed. " + TIPPING,
    ),
    SeedSymptom("dark", "dark", "when_there", False, 20, ("Lamps", "Power at the site"), PANELS),
    SeedSymptom(
        "falls_out",
        "falls out with the door",
        "when_there",
        True,
        30,
        ("Spacers against the package", "Play, from the bottom of the plate to its top"),
        "Stand aside of the door when opening it: what is loose falls forward.",
    ),
    SeedSymptom("upkeep", "planned maintenance", "when_there", False, 30, (), f"{PANELS} {SEALED}"),
    SeedSymptom("other", "something else", "part", False, 30, (), PANELS),
)
CAUSES: Final = (
    # code, words, whether the machine itself was in order
    ("depth_program", "depth program wrong", False),
    ("play_great", "play too great", False),
    ("play_small", "play too small", False),
    ("spacer", "spacer worn or crooked", False),
    ("package_short", "package shorter than the chart", False),
    ("drop_sensor", "drop sensor dirty", False),
    ("motor", "motor or home switch", False),
    ("stuck", "product stuck", False),
    ("coin_path", "coin path dirty", False),
    ("note_path", "note path dirty", False),
    ("card_reader", "card reader", False),
    ("tubes_low", "coin tubes low", False),
    ("condenser", "condenser dirty", False),
    ("fan", "fan", False),
    ("gasket", "door gasket", False),
    ("cooling", "cooling circuit, for a licensed technician", False),
    ("board", "control board or wiring", False),
    ("lock", "lock, latch or hinge", False),
    ("lamp", "lamp", False),
    ("site_power", "power at the site", False),
    ("vandalism", "vandalism or break-in", False),
    ("wrong_fill", "wrongly filled", False),
    ("wrong_price", "wrongly priced", False),
    ("picture", "picture wrong", False),
    ("out_of_date", "out of date", False),
    ("truly_sold_out", "really sold out", True),
    ("site_closed", "site closed", True),
    ("no_fault", "no fault found", True),
    ("clock_not_set", "clock never set, or summer time not kept", False),
    ("short_cash", "money missing between the machine and the count", False),
    ("visited_too_seldom", "visited too seldom", False),
    ("sells_more", "sells more than the column holds", False),
    ("sells_less", "sells less than before", True),
    ("counted_wrongly", "counted or noted wrongly", True),
    ("worn_out", "a part worn out by age", False),
    ("maintained", "planned work, no fault", True),
    ("other", "other", False),
)
