"""Who works there, from which warehouse and in which vehicle. All names are invented."""

from datetime import time

from demo.business.shapes import Address, Person, Shift, Vehicle, Warehouse

EAST = "America/New_York"
WEST = "America/Chicago"

WAREHOUSES = (
    Warehouse(
        code="MAR",
        name="Marrowby store",
        address=Address("14 Tannery Lane", "Marrowby", "Tallis County", "FL", "32391"),
        latitude=30.4612,
        longitude=-84.3504,
        time_zone=EAST,
    ),
    Warehouse(
        code="TAR",
        name="Tarn Hollow store",
        address=Address("3 Cooper Row", "Tarn Hollow", "Brannock County", "AL", "36492"),
        latitude=30.6188,
        longitude=-85.0461,
        time_zone=WEST,
    ),
)

PASSWORD = "two-for-one-payment"  # noqa: S105 - everybody's, in a demo that only this machine reaches

PEOPLE = (
    Person("Ines Calloworth", "ines@marrowby.example.org", ("owner",), "MAR"),
    Person("Marek Odunlade", "marek@marrowby.example.org", ("dispatcher",), "MAR"),
    Person("Tamsin Reyhurst", "tamsin@marrowby.example.org", ("driver",), "MAR"),
    Person("Dorian Pellam", "dorian@marrowby.example.org", ("driver",), "TAR"),
    Person("Oluchi Brandreth", "oluchi@marrowby.example.org", ("driver",), "MAR"),
    Person("Anselm Tregoyne", "anselm@marrowby.example.org", ("driver",), "MAR"),
    Person("Yuki Abernforth", "yuki@marrowby.example.org", ("accountant",), "MAR"),
)

VEHICLES = (
    Vehicle("Plover", "MAR", volume_l=9_000, weight_kg=1_100),
    Vehicle("Curlew", "MAR", volume_l=9_000, weight_kg=1_100),
    Vehicle("Dunlin", "MAR", volume_l=11_500, weight_kg=1_350),
    Vehicle("Heron", "TAR", volume_l=11_500, weight_kg=1_350),
)

_WORKING_DAYS = (0, 1, 2, 3, 4)

SHIFTS = tuple(
    Shift(f"{name}@marrowby.example.org", vehicle, _WORKING_DAYS, time(6, 30), time(16, 30))
    for name, vehicle in (
        ("tamsin", "Plover"),
        ("oluchi", "Curlew"),
        ("anselm", "Dunlin"),
        ("dorian", "Heron"),
    )
)
