"""The watch at the desk: who sees it, what is refused, and what a page says of a finding."""

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from fleet.machines.models import Machine
from office.drawing.watch import evidence
from office.views.watch import figures
from people.models import Person
from service.watch.models import Finding, Look, WatchRule
from tests.cast import Cast

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def finding(lobby: Machine) -> Finding:
    now = timezone.now()
    look = Look.objects.create(
        over="asked", day=now.date(), state="done", started_at=now, finished_at=now, mark=0.01
    )
    return Finding.objects.create(
        machine=lobby,
        kind="clock",
        opened_at=now,
        last_seen_at=now,
        since=now,
        look=look,
        strength=1.2,
        strength_said="16 times the limit",
        said="The machine's clock is 4.0 h slow, by 6 reads.",
        evidence={
            "numbers": {"off_minutes": -240.0, "whole_hours": True, "expected_minor": 31976},
            "chart": {
                "kind": "clock",
                "at": [20510.0, 20511.0],
                "ahead_minutes": [-238.0, -240.0],
                "limit_minutes": 15,
            },
        },
    )


def text(response: Any) -> str:
    assert response.status_code == 200, response.content
    return str(response.content.decode())


def test_who_sees_it(finding: Finding, cast: Cast, desk: Desk) -> None:
    for who in (cast.driver, cast.no_role):
        assert desk(who).get("/watch/").status_code == 403
        assert desk(who).get("/bags/").status_code == 403
    said = text(desk(cast.accountant).get(f"/watch/{finding.pk}/"))
    assert "4.0 h slow" in said
    assert "Make a ticket" not in said
    assert "Make a ticket" in text(desk(cast.dispatcher).get(f"/watch/{finding.pk}/"))
    dismissal = f"/watch/{finding.pk}/dismiss/"
    assert desk(cast.accountant).post(dismissal, {"dismiss-reason": "known"}).status_code == 403
    assert "What the numbers say" in text(desk(cast.owner).get(f"/fleet/{finding.machine_id}/"))
    assert "What the numbers say" not in text(
        desk(cast.driver).get(f"/fleet/{finding.machine_id}/")
    )


def test_the_list_is_narrowed(finding: Finding, owner: Person, desk: Desk) -> None:
    client = desk(owner)
    assert "LOB-1" in text(client.get("/watch/", {"search": "lob", "kind": "clock"}))
    assert "LOB-1" in text(client.get("/watch/", {"search": "ferry"}))
    assert "No finding is like that" in text(client.get("/watch/", {"kind": "warm"}))


def test_a_reason_that_is_none_is_said_beside_its_field(
    finding: Finding, owner: Person, desk: Desk
) -> None:
    answer = desk(owner).post(f"/watch/{finding.pk}/dismiss/", {"dismiss-reason": "bored"})
    assert answer.status_code == 422
    finding.refresh_from_db()
    assert finding.state == Finding.State.OPEN


def test_a_rule_of_a_kind_is_changed_and_not_doubled(
    finding: Finding, owner: Person, desk: Desk
) -> None:
    client = desk(owner)
    for strength in ("4", "6"):
        answer = client.post(
            "/watch/limits/rules/",
            {
                "rule-kind": "warm",
                "rule-strength": strength,
                "rule-looks": "1",
                "rule-symptom": "1",
            },
        )
        assert answer.status_code == 302, answer.content
    assert WatchRule.objects.get().strength == 6


def test_figures_are_said_in_their_units(finding: Finding) -> None:
    said = dict(figures(finding.evidence["numbers"]))
    assert said == {"off": "-240.00 min", "whole hours": "yes", "expected": "319.76"}


def test_charts_of_every_kind_are_drawn_and_of_none_are_not() -> None:
    series = {"starts": [1.0, 2.0], "ends": [2.0, 3.0], "sold": [4, 0], "at": [1.0, 2.0]}
    for more in (
        {"kind": "expected_and_sold", "expected": [3.0, 3.0], "dry": [False, True]},
        {"kind": "vended_and_missing", "missing": [2, -1]},
        {"kind": "bags", "expected": [4000, 4000], "counted": [3100, 4010]},
        {"kind": "temperature", "celsius": [4.0, 11.0], "limit_c": 7.0},
        {"kind": "clock", "ahead_minutes": [0.0, 0.0], "limit_minutes": 15},
    ):
        drawn = evidence(series | more, ident="one", title="a title")
        assert drawn is not None
        assert "<desc" in drawn
    assert evidence({}, ident="one", title="a title") is None
    assert evidence({"kind": "clock", "at": []}, ident="one", title="a title") is None


def test_findings_as_a_file(finding: Finding, cast: Cast, desk: Desk) -> None:
    finding.said = "=1+1 is not a formula here"
    finding.save()
    page = desk(cast.dispatcher)
    assert "/watch/export/?kind=clock" in text(page.get("/watch/", {"kind": "clock"}))
    rows = list(csv.DictReader(io.StringIO(text(page.get("/watch/export/", {"kind": "clock"})))))
    assert [(row["machine"], row["what"]) for row in rows] == [
        (finding.machine.asset_tag, "clock wrong")
    ]
    assert rows[0]["said"] == "'=1+1 is not a formula here"
    assert text(page.get("/watch/export/", {"kind": "warm"})).count("\n") == 1
    assert page.get("/watch/export/", {"as": "xlsx"}).content.startswith(b"PK")
    assert desk(cast.driver).get("/watch/export/").status_code == 403
