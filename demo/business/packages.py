"""Fourteen packages, measured.

The twelve-ounce can has the body diameter (2.602 in) and the flanged height (4.812 in) of the can
makers' institute's sheet for the 202 can and end, not the nominal 211. The other cans follow
suppliers' tables. Bottles, cartons and bags are plausible shapes of our own: they differ from
maker to maker and are measured one by one.
"""

from demo.business.shapes import PackageSize
from fleet.compute.packages import Package, PackageKind


def _can(length_mm: float, diameter_mm: float, volume_ml: float, weight_g: float) -> Package:
    return Package(
        kind=PackageKind.CAN,
        length_mm=length_mm,
        diameter_mm=diameter_mm,
        volume_ml=volume_ml,
        weight_g=weight_g,
    )


def _bag(width_mm: float, height_mm: float, thickness_mm: float, weight_g: float) -> Package:
    return Package(
        kind=PackageKind.BAG,
        width_mm=width_mm,
        height_mm=height_mm,
        thickness_mm=thickness_mm,
        weight_g=weight_g,
    )


PACKAGES = (
    PackageSize("can-12oz", "12 oz can", _can(122.2, 66.1, 354.9, 370.0)),
    PackageSize("can-12oz-sleek", "12 oz sleek can", _can(155.6, 57.0, 354.9, 370.0)),
    PackageSize("can-16oz", "16 oz tall can", _can(157.0, 66.0, 473.2, 492.0)),
    PackageSize("can-8oz4-slim", "8.4 oz slim can", _can(134.0, 53.0, 248.4, 262.0)),
    PackageSize("can-250ml-sleek", "250 ml sleek can", _can(115.0, 57.0, 250.0, 265.0)),
    PackageSize("can-500ml", "500 ml can", _can(168.0, 66.0, 500.0, 518.0)),
    PackageSize(
        "bottle-20oz",
        "20 oz bottle",
        Package(
            kind=PackageKind.NECKED_BOTTLE,
            length_mm=228.0,
            diameter_mm=73.0,
            shoulder_mm=158.0,
            neck_from_mm=195.0,
            neck_to_mm=211.0,
            neck_diameter_mm=28.0,
            cap_diameter_mm=33.0,
            volume_ml=591.5,
            weight_g=625.0,
        ),
    ),
    PackageSize(
        "bottle-500ml",
        "500 ml water bottle",
        Package(
            kind=PackageKind.NECKED_BOTTLE,
            length_mm=213.0,
            diameter_mm=65.0,
            shoulder_mm=150.0,
            neck_from_mm=182.0,
            neck_to_mm=198.0,
            neck_diameter_mm=27.4,
            cap_diameter_mm=33.0,
            volume_ml=500.0,
            weight_g=515.0,
        ),
    ),
    PackageSize(
        "bottle-sport",
        "20 oz sports bottle",
        Package(
            kind=PackageKind.BOTTLE_WITHOUT_NECK,
            length_mm=205.0,
            diameter_mm=74.0,
            shoulder_mm=176.0,
            cap_diameter_mm=43.0,
            volume_ml=591.5,
            weight_g=635.0,
        ),
    ),
    PackageSize(
        "bottle-juice",
        "12 oz juice bottle",
        Package(
            kind=PackageKind.BOTTLE_WITHOUT_NECK,
            length_mm=172.0,
            diameter_mm=64.0,
            shoulder_mm=148.0,
            cap_diameter_mm=40.0,
            volume_ml=354.9,
            weight_g=395.0,
        ),
    ),
    PackageSize(
        "carton-330ml",
        "330 ml carton",
        Package(
            kind=PackageKind.CARTON,
            length_mm=168.0,
            width_mm=70.0,
            height_mm=168.0,
            thickness_mm=48.0,
            volume_ml=330.0,
            weight_g=355.0,
        ),
    ),
    PackageSize("bag-small", "small bag", _bag(140.0, 190.0, 45.0, 45.0)),
    PackageSize("bag-large", "large bag", _bag(165.0, 225.0, 60.0, 85.0)),
    PackageSize("bar", "bar in a flow wrap", _bag(42.0, 145.0, 16.0, 50.0)),
)
