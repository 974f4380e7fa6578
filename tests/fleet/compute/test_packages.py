import pytest

from fleet.compute.packages import Package, PackageKind
from fleet.compute.units import BadMeasure, Units, inches


@pytest.mark.parametrize(
    ("sizes", "field"),
    [
        ({"length_mm": 0}, "package.length_mm"),
        ({"thickness_mm": 1e-300}, "package.thickness_mm"),
        ({"length_mm": 1e9}, "package.length_mm"),
        ({"diameter_mm": -3}, "package.diameter_mm"),
        ({"weight_g": float("nan")}, "package.weight_g"),
        ({"neck_from_mm": 200, "neck_to_mm": 180}, "package.neck_from_mm"),
        ({"neck_to_mm": 230, "length_mm": 225}, "package.neck_to_mm"),
        ({"shoulder_mm": 230, "length_mm": 225}, "package.shoulder_mm"),
        ({"neck_diameter_mm": 80, "diameter_mm": 73}, "package.neck_diameter_mm"),
        ({"cap_diameter_mm": 80, "diameter_mm": 73}, "package.cap_diameter_mm"),
    ],
)
def test_sizes_that_cannot_be_true_are_refused_by_name(sizes, field):
    with pytest.raises(BadMeasure) as refused:
        Package(PackageKind.NECKED_BOTTLE, **sizes)
    assert refused.value.field == field


def test_sizes_may_be_missing():
    package = Package(PackageKind.CAN)
    assert package.length_mm is None
    assert package.standing_height_mm is None


def test_lengths_are_spoken_in_the_unit_of_the_business():
    assert Units.MILLIMETRES.length(6.35) == "6.3 mm"
    assert Units.INCHES.length(6.35) == "0.25 in"
    assert Units.MILLIMETRES.length(-0.01) == "0.0 mm"
    assert inches(1) == 25.4
