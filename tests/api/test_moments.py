"""Moments in a query: with their offset, or a date alone, which begins where the business is."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.utils import timezone

from fleet.machines.models import Machine
from fleet.sales.models import MachineInterval
from people.models import Business
from tests.callers import Caller
from tests.fleet.sales.meter import Meter

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]
ZONE = "America/New_York"


@pytest.fixture
def read_in_march(lobby: Machine, as_owner: Caller) -> int:
    """A read received at 23:30 on 1 March in New York, which is 04:30 on 2 March in UTC."""
    Business.objects.update(time_zone=ZONE)
    file = Meter.with_buttons("1", "2").read(datetime.fromisoformat("2026-03-01T23:00"))
    as_owner.client.post("/api/v1/reads", file, content_type="application/octet-stream")
    received_at = datetime(2026, 3, 1, 23, 30, tzinfo=ZoneInfo(ZONE))
    with connection.cursor() as cursor:
        cursor.execute("UPDATE sales_auditread SET received_at = %s RETURNING id", [received_at])
        return int(cursor.fetchone()[0])


@pytest.mark.parametrize(
    ("since", "found"),
    [
        ("2026-03-01", True),
        ("2026-03-02", False),
        ("2026-03-01T23:30:00-05:00", True),
        ("2026-03-01T23:30:01-05:00", False),
        ("2026-03-02T04:30:00Z", True),
        ("2026-03-02T04:30:01Z", False),
        # An unescaped + of a query is read as a space.
        ("2026-03-02T09:30:00+05:00", True),
        ("2026-03-02T09:30:00 05:00", True),
        ("2026-03-02T09:30:01 05:00", False),
    ],
)
def test_since(read_in_march: int, as_owner: Caller, since: str, found: bool) -> None:
    rows = as_owner.get("/reads", {"since": since}).json()["items"]
    assert [one["id"] for one in rows] == ([read_in_march] if found else [])
    # `until` leaves out what `since` takes in.
    rows = as_owner.get("/reads", {"until": since}).json()["items"]
    assert bool(rows) is not found


@pytest.mark.parametrize(
    "since",
    ["yesterday", "2026-03-01T10:00:00", "1.3.2026", "1850-01-01", "2026-02-30", "٢٠٢٦-03-01"],
)
@pytest.mark.parametrize("address", ["/reads", "/sales-totals"])
def test_what_is_no_moment(as_owner: Caller, refused: Refused, address: str, since: str) -> None:
    query = {"since": since, "until": "2026-04-01"}
    if address == "/sales-totals":
        query |= {"period": "month", "by": "product"}
    said = refused(as_owner.get(address, query), 400, "bad_parameter")
    assert [one["parameter"] for one in said["errors"]] == ["since"]
    detail = said["errors"][0]["detail"]
    assert "2026-03-02T09:00:00-05:00" in detail or "between 1990 and 2200" in detail


def test_totals_of_a_month_of_the_business(lobby: Machine, as_owner: Caller) -> None:
    """Asked by dates alone; a month begins at the business's own midnight and says so."""
    Business.objects.update(time_zone=ZONE)
    meter = Meter.with_buttons("1", "2")
    start = (timezone.now() - timedelta(days=2, hours=6)).replace(tzinfo=None)
    for day in range(2):
        file = meter.sell("1", cash=2).read(start + timedelta(days=day))
        as_owner.client.post("/api/v1/reads", file, content_type="application/octet-stream")
    ended = MachineInterval.objects.get().ends_at.astimezone(ZoneInfo(ZONE))
    month = datetime(ended.year, ended.month, 1, tzinfo=ZoneInfo(ZONE))
    asked = {"period": "month", "by": "product"}
    whole = asked | {"since": ended.date().isoformat(), "until": "2199-01-01"}
    totals = as_owner.get("/sales-totals", whole).json()
    assert {one["starts_at"] for one in totals} == {month.isoformat()}
    assert sum(one["figures"]["paid_units"] for one in totals) == 2
    before = asked | {"since": "2020-01-01", "until": ended.date().isoformat()}
    assert as_owner.get("/sales-totals", before).json() == []
