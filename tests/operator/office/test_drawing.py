"""The sections are to scale: where the rail says a millimetre, the drawing has it."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Half, SpiralPosition, StackPosition
from fleet.compute.rails import Rail, Runs
from fleet.compute.units import Units
from office.drawing.package import package_drawing
from office.drawing.sections import near, whole
from office.drawing.stack import BEAM_MM, Loaded, stack_section

CAN = Package(PackageKind.CAN, length_mm=122.2, diameter_mm=66.1)
BOTTLE = Package(
    PackageKind.NECKED_BOTTLE,
    length_mm=212.0,
    diameter_mm=73.0,
    shoulder_mm=125.0,
    neck_from_mm=165.0,
    neck_to_mm=185.0,
    neck_diameter_mm=28.0,
    cap_diameter_mm=30.0,
)
NUMBER = r"-?\d+(?:\.\d+)?"
ACROSS_A_PIXEL = 0.02


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - drawn here, from nobody's input


def stack(rail: Rail, *, rear: bool = True, **changes: object) -> StackPosition:
    given = {"label": "7", "width_mm": 84.0, "height_mm": 600.0, "cradle_units": 1, **changes}
    half = Half(depth_mm=260.0, rail=rail)
    return StackPosition(front=half, rear=half if rear else None, **given)  # type: ignore[arg-type]


def drawn(position: StackPosition, loaded: Loaded | None, scale: float = 0.9) -> ET.Element:
    svg = stack_section(
        position, loaded, ident="x", title="A column", units=Units.MILLIMETRES, scale=scale
    )
    return parsed(svg)


def places(element: ET.Element) -> list[tuple[float, float]]:
    """Every place of a path, in pixels."""
    return [
        (float(x), float(y)) for x, y in re.findall(f"({NUMBER}),({NUMBER})", element.attrib["d"])
    ]


def of_class(svg: ET.Element, css: str, **data: str) -> Iterator[ET.Element]:
    wanted = {f"data-{key}": value for key, value in data.items()}
    for element in svg.iter():
        if element.attrib.get("class") == css and all(
            element.attrib.get(key) == value for key, value in wanted.items()
        ):
            yield element


def off_the_beam(x_px: float, half: str, scale: float) -> float:
    """The distance from the beam that a place in the drawing says, in mm."""
    return -x_px / scale if half == "front" else x_px / scale - BEAM_MM


@given(
    zero_mm=st.floats(20, 90),
    pitch_mm=st.floats(3, 8),
    runs=st.sampled_from(Runs),
    notch=st.integers(0, 15),
    scale=st.sampled_from([0.5, 0.9, 1.0, 2.0]),
)
def test_a_spacer_at_setting_k_stands_at_the_millimetre_that_the_rail_says(
    zero_mm: float, pitch_mm: float, runs: Runs, notch: int, scale: float
) -> None:
    zero = zero_mm + (15 * pitch_mm if runs is Runs.INWARD else 0)
    rail = Rail(zero_mm=zero, pitch_mm=pitch_mm, notches=16, runs=runs)
    svg = drawn(stack(rail), Loaded(CAN, 1, notch, notch), scale)
    for half in ("front", "rear"):
        [spacer] = of_class(svg, "spacer", half=half)
        for x, _ in places(spacer):
            measured = off_the_beam(x, half, scale)
            assert measured == pytest.approx(rail.distance_mm(notch), abs=ACROSS_A_PIXEL / scale)
        [tick] = of_class(svg, "notch", half=half, notch=str(notch))
        assert places(tick)[0][0] == pytest.approx(places(spacer)[0][0], abs=ACROSS_A_PIXEL)


def test_every_notch_is_drawn_and_every_third_is_longer() -> None:
    rail = Rail(zero_mm=60.0, pitch_mm=8.0, notches=10, mark_every=3)
    svg = drawn(stack(rail), None)
    lengths = {
        int(tick.attrib["data-notch"]): places(tick)[1][1] - places(tick)[0][1]
        for tick in of_class(svg, "notch", half="rear")
    }
    assert sorted(lengths) == list(range(10))
    longer = {notch for notch, length in lengths.items() if length > min(lengths.values())}
    assert longer == {0, 3, 6, 9}


def test_products_lie_base_against_the_beam_at_their_measured_size() -> None:
    scale = 0.9
    svg = drawn(stack(Rail(60.0, 8.0, 25)), Loaded(CAN, 2, 20, 20), scale)
    for half in ("front", "rear"):
        lying = list(of_class(svg, "prod", half=half, layer="1"))
        assert len(lying) == 2
        spans = sorted(
            (
                min(off_the_beam(x, half, scale) for x, _ in places(one)),
                max(off_the_beam(x, half, scale) for x, _ in places(one)),
            )
            for one in lying
        )
        for found, wanted in zip(spans, [(0, 122.2), (122.2, 244.4)], strict=True):
            assert found == pytest.approx(wanted, abs=0.05)
        high = [y for one in lying for _, y in places(one)]
        assert (max(high) - min(high)) / scale == pytest.approx(66.1, abs=0.05)


def test_the_neck_is_where_it_was_measured() -> None:
    scale = 1.0
    svg = drawn(stack(Rail(60.0, 8.0, 25), rear=False), Loaded(BOTTLE, 1, 14), scale)
    [bottle] = of_class(svg, "prod", half="front", layer="1")
    along = {round(-x, 1) for x, _ in places(bottle)}
    assert {0.0, 125.0, 165.0, 185.0, 212.0} <= along
    middle = sum(y for _, y in places(bottle)) / len(places(bottle))
    in_neck = [abs(y - middle) for x, y in places(bottle) if 165.5 <= -x <= 184.5 or x == -165.0]
    assert max(in_neck) == pytest.approx(14.0, abs=0.1)
    assert "in the neck" in [text.text for text in svg.iter() if text.tag.endswith("text")]


def test_the_play_is_said_and_measured() -> None:
    rail = Rail(zero_mm=60.0, pitch_mm=8.0, notches=25)
    svg = drawn(stack(rail, rear=False), Loaded(CAN, 2, 24), 1.0)
    play = rail.distance_mm(24) - 2 * 122.2
    said = [text.text for text in svg.iter() if text.attrib.get("class") == "num"]
    assert f"{play:.1f} mm" in said
    [spacer] = of_class(svg, "spacer")
    outermost = min(x for one in of_class(svg, "prod") for x, _ in places(one))
    assert outermost - places(spacer)[0][0] == pytest.approx(play, abs=0.05)


def test_a_plate_inside_the_products_is_said_to_bind() -> None:
    svg = drawn(stack(Rail(60.0, 8.0, 25), rear=False), Loaded(CAN, 2, 20), 1.0)
    said = [text.text or "" for text in svg.iter() if text.attrib.get("class") == "num"]
    assert any(text.startswith("binds by") for text in said)


def test_what_is_missing_is_a_ghost() -> None:
    full = drawn(stack(Rail(60.0, 8.0, 25), rear=False), Loaded(CAN, 2, 23))
    part = drawn(stack(Rail(60.0, 8.0, 25), rear=False), Loaded(CAN, 2, 23, inside=5))
    there = len(list(of_class(full, "prod")))
    assert len(list(of_class(part, "prod"))) == 5
    assert len(list(of_class(part, "ghost"))) == there - 5


def test_a_high_column_is_cut_off_with_its_lowest_layers_to_scale() -> None:
    position = stack(Rail(60.0, 8.0, 25), height_mm=1500.0)
    svg = parsed(near(position, Loaded(CAN, 2, 23, 23), ident="n", title="n", units=Units.INCHES))
    layers = {one.attrib["data-layer"] for one in of_class(svg, "prod")}
    assert len(layers) == 5  # four layers and the cradle
    assert not list(of_class(svg, "fill-line"))


def test_a_spiral_holds_one_upright_in_each_turn() -> None:
    position = SpiralPosition("A1", 10, 54.0, 212.0, 146.0)
    bag = Package(PackageKind.BAG, width_mm=120.0, height_mm=160.0, thickness_mm=45.0)
    svg = parsed(
        whole(position, Loaded(bag, 1), ident="s", title="A spiral", units=Units.MILLIMETRES)
    )
    turns = [one.attrib["data-turn"] for one in of_class(svg, "prod")]
    assert turns == [str(turn) for turn in range(10)]
    scale = float(svg.attrib["data-scale"])
    for turn, one in enumerate(of_class(svg, "prod")):
        across = [x for x, _ in places(one)]
        assert (min(across) + max(across)) / 2 / scale == pytest.approx((turn + 0.5) * 54, abs=0.1)
        assert (max(across) - min(across)) / scale == pytest.approx(45.0, abs=0.1)


def test_drawings_say_what_they_show() -> None:
    svg = drawn(stack(Rail(60.0, 8.0, 25)), Loaded(CAN, 2, 23, 22))
    assert svg.attrib["role"] == "img"
    title, desc = svg[0], svg[1]
    assert svg.attrib["aria-labelledby"] == title.attrib["id"] == "x-title"
    assert svg.attrib["aria-describedby"] == desc.attrib["id"] == "x-desc"
    assert desc.text == (
        "can, 2 deep; front at notch 23, 244.0 mm from the beam; "
        "rear at notch 22, 236.0 mm from the beam."
    )
    assert not [element for element in svg.iter() if "style" in element.attrib]


def test_words_in_a_drawing_are_escaped() -> None:
    svg = stack_section(
        stack(Rail(60.0, 8.0, 25)),
        None,
        ident="x",
        title='<script>"&',
        units=Units.MILLIMETRES,
    )
    assert parsed(svg)[0].text == '<script>"&'


def test_nothing_reaches_beyond_the_sheet() -> None:
    svg = drawn(stack(Rail(60.0, 8.0, 25)), Loaded(BOTTLE, 1, 14, 20))
    left, top, width, height = (float(part) for part in svg.attrib["viewBox"].split())
    for element in svg.iter():
        if "d" in element.attrib:
            for x, y in places(element):
                assert left <= x <= left + width
                assert top <= y <= top + height


def test_a_package_shows_its_measured_sizes_and_waits_for_its_length() -> None:
    assert (
        package_drawing(
            Package(PackageKind.CAN, diameter_mm=66.1),
            ident="p",
            title="p",
            units=Units.MILLIMETRES,
        )
        is None
    )
    svg = package_drawing(BOTTLE, ident="p", title="p", units=Units.MILLIMETRES)
    assert svg is not None
    root = parsed(svg)
    scale = float(root.attrib["data-scale"])
    for dim in root.iter():
        size = dim.attrib.get("data-along")
        if size is not None:
            (start, _), (end, _) = places(dim)
            assert (end - start) / scale == pytest.approx(float(size), abs=0.05)
    assert {d.attrib["data-along"] for d in root.iter() if "data-along" in d.attrib} == {
        "125.0",
        "165.0",
        "185.0",
        "212.0",
    }
