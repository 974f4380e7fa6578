"""Forty sites in two invented counties, on either side of a time-zone line and of a state's."""

from __future__ import annotations

from datetime import time

from demo.business.people import EAST, WEST
from demo.business.shapes import Address, OpeningWindow, Site

WEEKDAYS = (0, 1, 2, 3, 4)
ALL_DAYS = (0, 1, 2, 3, 4, 5, 6)

# When each trade of site is open; a driver and its customers come inside these hours.
HOURS: dict[str, tuple[OpeningWindow, ...]] = {
    "office": (OpeningWindow(WEEKDAYS, time(7, 0), time(19, 0)),),
    "plant": (OpeningWindow(ALL_DAYS, time(5, 0), time(23, 30)),),
    "school": (OpeningWindow(WEEKDAYS, time(6, 30), time(16, 30)),),
    "hospital": (OpeningWindow(ALL_DAYS, time(5, 30), time(23, 45)),),
    "gym": (
        OpeningWindow(WEEKDAYS, time(5, 30), time(22, 0)),
        OpeningWindow((5, 6), time(8, 0), time(18, 0)),
    ),
    "inn": (OpeningWindow(ALL_DAYS, time(6, 0), time(23, 45)),),
    "depot": (
        OpeningWindow(WEEKDAYS, time(5, 0), time(20, 0)),
        OpeningWindow((5,), time(6, 0), time(14, 0)),
    ),
    "library": (
        OpeningWindow(WEEKDAYS, time(9, 0), time(20, 0)),
        OpeningWindow((5,), time(10, 0), time(17, 0)),
    ),
}

# town: county, postcode, time zone, warehouse
_TOWNS = {
    "Marrowby": ("Tallis County", "32391", EAST, "MAR"),
    "Selwick": ("Tallis County", "32393", EAST, "MAR"),
    "Corrin Ferry": ("Tallis County", "32395", EAST, "MAR"),
    "Dunmoor": ("Tallis County", "32397", EAST, "MAR"),
    "Tarn Hollow": ("Brannock County", "36492", WEST, "TAR"),
    "Appleguard": ("Brannock County", "36494", WEST, "TAR"),
}

STATES = {"Tallis County": "FL", "Brannock County": "AL"}

# code, name, trade, street, town, latitude, longitude
_TABLE: tuple[tuple[str, str, str, str, str, float, float], ...] = (
    ("S01", "Gannet House, lobby", "office", "2 Harbinger Street", "Marrowby", 30.4581, -84.3457),
    (
        "S02",
        "Gannet House, third floor",
        "office",
        "2 Harbinger Street",
        "Marrowby",
        30.4583,
        -84.3455,
    ),
    (
        "S03",
        "Tallis County Offices",
        "office",
        "40 Courtyard Square",
        "Marrowby",
        30.4619,
        -84.3398,
    ),
    (
        "S04",
        "Wendle Insurance Centre",
        "office",
        "118 Larchmont Road",
        "Marrowby",
        30.4702,
        -84.3310,
    ),
    ("S05", "Ashgrove Business Park", "office", "7 Ashgrove Way", "Marrowby", 30.4794, -84.3622),
    (
        "S06",
        "Marrowby General, main hall",
        "hospital",
        "300 Infirmary Drive",
        "Marrowby",
        30.4467,
        -84.3289,
    ),
    (
        "S07",
        "Marrowby General, staff wing",
        "hospital",
        "300 Infirmary Drive",
        "Marrowby",
        30.4471,
        -84.3284,
    ),
    ("S08", "Marrowby High School", "school", "55 Pinnacle Avenue", "Marrowby", 30.4538, -84.3699),
    (
        "S09",
        "Marrowby Public Library",
        "library",
        "12 Courtyard Square",
        "Marrowby",
        30.4625,
        -84.3404,
    ),
    ("S10", "Ironbark Gymnasium", "gym", "81 Mill Pond Road", "Marrowby", 30.4660, -84.3541),
    ("S11", "Calder Press Works", "plant", "9 Foundry Row", "Marrowby", 30.4349, -84.3762),
    (
        "S12",
        "Calder Press Works, canteen",
        "plant",
        "11 Foundry Row",
        "Marrowby",
        30.4351,
        -84.3758,
    ),
    ("S13", "Marrowby Bus Depot", "depot", "26 Turnpike Street", "Marrowby", 30.4417, -84.3477),
    ("S14", "Heron Lane Inn", "inn", "4 Heron Lane", "Marrowby", 30.4906, -84.3429),
    ("S15", "Selwick Timber Mill", "plant", "70 Sawyer Road", "Selwick", 30.5533, -84.2207),
    ("S16", "Selwick Middle School", "school", "18 Chalk Street", "Selwick", 30.5470, -84.2291),
    ("S17", "Selwick Clinic", "hospital", "33 Well Street", "Selwick", 30.5491, -84.2248),
    ("S18", "Fernleigh Office Court", "office", "5 Fernleigh Court", "Selwick", 30.5415, -84.2350),
    ("S19", "Selwick Freight Yard", "depot", "90 Siding Road", "Selwick", 30.5588, -84.2133),
    ("S20", "Quarry View Inn", "inn", "61 Quarry Road", "Selwick", 30.5622, -84.2401),
    ("S21", "Selwick Recreation Hall", "gym", "20 Green Street", "Selwick", 30.5447, -84.2274),
    ("S22", "Corrin Ferry Boatworks", "plant", "1 Slipway Road", "Corrin Ferry", 30.6033, -84.6041),
    (
        "S23",
        "Corrin Ferry Town Office",
        "office",
        "8 Bridge Street",
        "Corrin Ferry",
        30.5991,
        -84.5977,
    ),
    ("S24", "Ferry Landing Inn", "inn", "15 Landing Road", "Corrin Ferry", 30.6052, -84.6088),
    ("S25", "Corrin Academy", "school", "44 Rectory Road", "Corrin Ferry", 30.5944, -84.5903),
    ("S26", "Pelham Cold Store", "depot", "101 Icehouse Lane", "Corrin Ferry", 30.6101, -84.5862),
    ("S27", "Dunmoor Glassworks", "plant", "37 Kiln Road", "Dunmoor", 30.3822, -84.4791),
    (
        "S28",
        "Dunmoor Technical College",
        "school",
        "200 College Drive",
        "Dunmoor",
        30.3763,
        -84.4888,
    ),
    (
        "S29",
        "Dunmoor Technical College, workshops",
        "school",
        "206 College Drive",
        "Dunmoor",
        30.3769,
        -84.4893,
    ),
    ("S30", "Saltmarsh Care Home", "hospital", "29 Saltmarsh Lane", "Dunmoor", 30.3701, -84.4702),
    (
        "S31",
        "Dunmoor Exchange Building",
        "office",
        "16 Exchange Street",
        "Dunmoor",
        30.3808,
        -84.4820,
    ),
    ("S32", "Breakwater Gymnasium", "gym", "58 Breakwater Road", "Dunmoor", 30.3744, -84.4755),
    ("S33", "Tarn Hollow Paper Mill", "plant", "2 Weir Road", "Tarn Hollow", 30.6214, -85.0523),
    ("S34", "Brannock County Annex", "office", "10 Annex Street", "Tarn Hollow", 30.6170, -85.0447),
    ("S35", "Tarn Hollow School", "school", "77 Orchard Street", "Tarn Hollow", 30.6129, -85.0398),
    ("S36", "Lakehead Inn", "inn", "6 Lakehead Road", "Tarn Hollow", 30.6265, -85.0601),
    (
        "S37",
        "Tarn Hollow Clinic",
        "hospital",
        "21 Orchard Street",
        "Tarn Hollow",
        30.6141,
        -85.0412,
    ),
    ("S38", "Appleguard Packing House", "plant", "88 Cider Road", "Appleguard", 30.5017, -85.1988),
    ("S39", "Appleguard Road Depot", "depot", "13 Grader Lane", "Appleguard", 30.4966, -85.2074),
    ("S40", "Appleguard Library", "library", "3 Elm Place", "Appleguard", 30.5004, -85.2011),
)


def _host(name: str) -> tuple[str, str]:
    """Whom statements are made out to, and where they are sent: one host, whatever the hall."""
    host = name.split(",", maxsplit=1)[0]
    return host, f"accounts@{host.lower().replace(' ', '-')}.example.org"


def _site(row: tuple[str, str, str, str, str, float, float]) -> Site:
    code, name, trade, street, town, latitude, longitude = row
    county, postcode, time_zone, warehouse_code = _TOWNS[town]
    host_name, host_email = _host(name)
    return Site(
        code=code,
        name=name,
        trade=trade,
        address=Address(street, town, county, STATES[county], postcode),
        latitude=latitude,
        longitude=longitude,
        time_zone=time_zone,
        windows=HOURS[trade],
        warehouse_code=warehouse_code,
        host_name=host_name,
        host_email=host_email,
        premises="school" if trade == "school" else "",
    )


SITES = tuple(_site(row) for row in _TABLE)
