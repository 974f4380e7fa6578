"""Earnings at the desk: rankings, one of them step by step, what would change it, and files."""

import csv
import io
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from people.models import Person
from service.earnings.models import EarningsSettings
from tests.fleet.demand.sellers import fit_all
from tests.service.earnings.earner import WEEK, Earner
from tests.typed import typed

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]
ASKED = {"since": WEEK[0], "until": WEEK[1] - timedelta(days=1)}


@pytest.mark.parametrize("by", ["machine", "site", "product", "driver"])
def test_a_ranking_says_what_is_left_and_what_is_not_known(
    earner: Earner, accountant: Person, desk: Desk, by: str
) -> None:
    earner.visit()
    answer = desk(accountant).get("/earnings/", {"by": by} | ASKED)
    assert answer.status_code == 200
    text = answer.content.decode()
    label = {"machine": "R-1", "site": "Hall 1", "product": "Cola", "driver": "Rosa"}[by]
    assert label in text
    assert "$24.50" in text  # of the whole
    total = text.partition('<tr class="total">')[2]
    assert '<td data-th="receipts" class="num">$24.50</td>' in total
    assert "Card fees are not known for 1 machine" in text
    assert "No rule of tax is entered" in text
    assert "This is no tax advice" in text


def test_one_machine_step_by_step(earner: Earner, accountant: Person, desk: Desk) -> None:
    earner.visit()
    client = desk(accountant)
    text = client.get(f"/earnings/machine/{earner.machine.pk}/", ASKED).content.decode()
    assert "What is left of R-1&#x27;s receipts" in text
    assert "−$8.68" in text  # fourteen units at 0.62, in the drawing
    assert "<dt>tax</dt><dd>not known</dd>" in text
    assert "Cola" in text
    total = text.partition('<tr class="total">')[2]
    assert '<td data-th="receipts" class="num">$24.50</td>' in total, "its products add up to it"
    site = earner.machine.placements.get().site
    assert "R-1" in client.get(f"/earnings/site/{site.pk}/", ASKED).content.decode()
    assert client.get(f"/earnings/product/{earner.cola.pk}/", ASKED).status_code == 200
    assert client.get(f"/earnings/product/{earner.cola.pk + 999}/", ASKED).status_code == 404
    assert client.get(f"/earnings/moon/{earner.machine.pk}/", ASKED).status_code == 404


def test_a_period_that_ends_before_it_begins_is_said(
    earner: Earner, accountant: Person, desk: Desk
) -> None:
    answer = desk(accountant).get("/earnings/", {"since": "2026-03-08", "until": "2026-03-01"})
    assert answer.status_code == 422
    assert "before the first day" in answer.content.decode()


def test_the_file_has_every_part(earner: Earner, accountant: Person, desk: Desk) -> None:
    client = desk(accountant)
    answer = client.get("/earnings/export/", {"by": "product", "as": "csv"} | ASKED)
    rows = {row[0]: row for row in csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))}
    head = rows["product"]
    cola = dict(zip(head, rows["Cola"], strict=True))
    assert (cola["receipts"], cola["goods"], cola["card fees"]) == ("17.50", "6.20", "")
    assert "card fees" in cola["not known"]
    assert client.get("/earnings/export/", {"as": "xlsx"} | ASKED).content[:2] == b"PK"


def test_what_would_change_it(earner: Earner, accountant: Person, desk: Desk) -> None:
    fit_all(earner.work.owner, timezone.now())
    client = desk(accountant)
    answer = client.get(f"/earnings/changes/{earner.machine.pk}/")
    assert answer.status_code == 200
    text = answer.content.decode()
    for words in ("Another product", "Its prices", "How often it is visited", "are needed to say"):
        assert words in text, words


def test_settings_are_kept_at_the_desk(earner: Earner, accountant: Person, desk: Desk) -> None:
    client = desk(accountant)
    given = {
        "cost_per_hour": "31.50",
        "cost_per_km": "",
        "overhead_per_month": "12.00",
        "moving_minutes": "200",
        "elasticity_least": "0.30",
        "elasticity_most": "1.20",
    }
    given["shown"] = typed(client, "/earnings/settings/")["shown"]
    assert client.post("/earnings/settings/", given).status_code == 302
    kept = EarningsSettings.the()
    assert (str(kept.cost_per_hour), kept.cost_per_km) == ("31.50", None)
    given["shown"] = typed(client, "/earnings/settings/")["shown"]
    wrong = client.post("/earnings/settings/", given | {"cost_per_hour": "-1"})
    assert wrong.status_code == 422


def test_profit_is_for_those_who_answer_for_money(
    earner: Earner, driver: Person, dispatcher: Person, desk: Desk
) -> None:
    for person in (driver, dispatcher):
        for address in ("/earnings/", "/earnings/export/", "/earnings/settings/"):
            assert desk(person).get(address).status_code == 403
