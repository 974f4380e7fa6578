"""Who works there, and from which warehouse. All names are invented."""

from demo.business.shapes import Address, Person, Warehouse

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
        address=Address("3 Cooper Row", "Tarn Hollow", "Brannock County", "FL", "32492"),
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
    Person("Yuki Abernforth", "yuki@marrowby.example.org", ("accountant",), "MAR"),
)
