"""Cursor pages: every row once, forth and back, whatever is added meanwhile."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.pagination import MOST
from fleet.machines.models import Package, SetUp
from tests.callers import V1, Caller
from tests.cast import NOW
from tests.world import World

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


@pytest.fixture
def thirty(world: World) -> list[str]:
    names = [f"can {number:02}" for number in range(30)]
    Package.objects.bulk_create(Package(name=name, shape="can") for name in names)
    return names


def follow(caller: Caller, address: str | None, to: str) -> list[list[str]]:
    pages = []
    while address:
        assert len(pages) < 100, "the pages run in a circle"
        parts = urlsplit(address)
        body = caller.get(parts.path.removeprefix(V1) + "?" + parts.query).json()
        pages.append([row["name"] for row in body["items"]])
        address = body[to]
    return pages


@pytest.mark.parametrize("limit", [1, 7, 10, 29, 30, 31])
def test_forth_and_back(limit: int, thirty: list[str], as_owner: Caller) -> None:
    forth = follow(as_owner, f"/packages?limit={limit}", "next")
    assert [name for page in forth for name in page] == thirty
    assert {len(page) for page in forth[:-1]} <= {limit}

    first = as_owner.get(f"/packages?limit={limit}").json()
    assert first["previous"] is None
    if first["next"] is None:
        return
    last, at = first, first["next"]
    while at:
        parts = urlsplit(at)
        last = as_owner.get(parts.path.removeprefix(V1) + "?" + parts.query).json()
        at = last["next"]
    back = follow(as_owner, last["previous"], "previous")
    seen = [row["name"] for row in last["items"]]
    for page in back:
        seen = page + seen
    assert seen == thirty


def test_a_row_added_meanwhile_moves_no_other(thirty: list[str], as_owner: Caller) -> None:
    first = as_owner.get("/packages?limit=10").json()
    Package.objects.create(name="can 00b", shape="can")
    parts = urlsplit(first["next"])
    second = as_owner.get(parts.path.removeprefix(V1) + "?" + parts.query).json()
    assert [row["name"] for row in second["items"]] == thirty[10:20]


def test_the_link_header_says_the_same_and_keeps_the_filter(
    thirty: list[str], as_owner: Caller
) -> None:
    answer = as_owner.get("/packages?limit=5&search=can")
    # RFC 8288, section 3: <target>; rel="…".
    found = {rel: url for url, rel in re.findall(r'<([^>]+)>; rel="(\w+)"', answer["Link"])}
    assert found == {"next": answer.json()["next"]}
    assert "search=can" in found["next"]
    assert "limit=5" in found["next"]


def test_rows_of_one_moment_are_not_lost(lobby: Any, world: World, as_owner: Caller) -> None:
    """Ties in the leading column are told apart by the key."""
    tea = SetUp.objects.first()
    assert tea is not None
    for label in ("3", "4"):
        world.set_up(world.column(lobby, label), tea.product, starts_at=NOW - timedelta(days=60))
    assert SetUp.objects.values("starts_at").distinct().count() == 1
    seen, at = [], "/set-ups?limit=1"
    while at:
        body = as_owner.get(at).json()
        seen += [row["id"] for row in body["items"]]
        at = body["next"] and body["next"].partition(V1)[2]
    assert sorted(seen) == sorted(SetUp.objects.values_list("pk", flat=True))


@pytest.mark.parametrize("limit", ["0", "-1", "x", str(MOST + 1), "1e3", "٣"])
def test_a_limit_out_of_bounds(limit: str, as_owner: Caller, refused: Refused) -> None:
    said = refused(as_owner.get("/packages", {"limit": limit}), 400, "bad_parameter")
    assert said["errors"][0]["parameter"] == "limit"


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    cursor=st.one_of(
        st.text(max_size=60),
        st.binary(max_size=60).map(lambda raw: raw.hex()),
        st.sampled_from(["WzAsImEiXQ", "WzAsImEiLCJ4Il0", "W10", "WzIsImEiLCIxIl0", "Wyi"]),
    )
)
def test_a_cursor_of_ones_own_making(cursor: str, as_owner: Caller) -> None:
    answer = as_owner.get("/packages", {"cursor": cursor})
    assert answer.status_code in {200, 400}
    if answer.status_code == 400:
        assert answer.json()["code"] == "bad_parameter"
