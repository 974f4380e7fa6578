"""Earnings through the API: rankings, files, levers, and what they are reckoned with."""

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone

from people.models import Person
from tests.callers import Caller
from tests.fleet.demand.sellers import fit_all
from tests.service.earnings.earner import Earner

pytestmark = pytest.mark.django_db
ASKED = {"by": "machine", "since": "2026-03-01", "until": "2026-03-08"}


@pytest.fixture
def accounts(caller: Callable[[Any], Caller], accountant: Person) -> Caller:
    return caller(accountant)


def test_a_ranking_with_its_parts(earner: Earner, accounts: Caller) -> None:
    found = accounts.get("/earnings", ASKED).json()
    one = next(one for one in found["items"] if one["label"] == "R-1")
    assert (one["receipts"], one["costs"]["goods"]) == ("24.50", "8.68")
    assert one["costs"]["tax"] is None
    assert "tax" in one["not_known"]
    assert found["not_known"]
    assert found["said"]


def test_a_wrong_question_is_said(earner: Earner, accounts: Caller, refused: Any) -> None:
    refused(accounts.get("/earnings", ASKED | {"until": "2026-03-01"}), 400, "bad_parameter")
    refused(accounts.get("/earnings", ASKED | {"by": "moon"}), 400, "bad_parameter")
    refused(accounts.get("/earnings", {"by": "site"}), 400, "bad_parameter")
    refused(accounts.get("/earnings/export", ASKED | {"sort": "x"}), 400, "bad_parameter")


def test_the_same_as_a_file(earner: Earner, accounts: Caller) -> None:
    answer = accounts.get("/earnings/export", ASKED | {"as": "csv"})
    assert answer.status_code == 200
    assert "R-1" in answer.content.decode()


def test_levers_of_a_machine(earner: Earner, accounts: Caller) -> None:
    fit_all(earner.work.owner, timezone.now())
    found = accounts.get(f"/earning-changes/{earner.machine.pk}").json()
    assert [one["of"] for one in found["prices"]] == [0.95, 1.05, 1.1]
    assert found["moving"] is None
    assert any("are needed" in one for one in found["said"])
    for gain in (*found["prices"], *found["rhythm"]):
        assert float(gain["low_a_week"]) <= float(gain["high_a_week"])


def test_settings_are_changed_on_sight(
    earner: Earner, accounts: Caller, as_driver: Caller, refused: Any
) -> None:
    seen = accounts.get("/earnings-settings")
    assert seen.json()["cost_per_hour"] is None
    body = {"cost_per_hour": "33.00"}
    refused(accounts.patch("/earnings-settings", body), 428)
    kept = accounts.patch("/earnings-settings", body, tag=seen["ETag"])
    assert kept.json()["cost_per_hour"] == "33.00"
    refused(as_driver.get("/earnings-settings"), 403)
    refused(as_driver.get("/earnings", ASKED), 403)
