"""The head of the page: each role finds its own parts, by group."""

import re
from collections.abc import Callable

import pytest
from django.test import Client

from people.models import Person

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


def groups(client: Client) -> dict[str, list[str]]:
    """Heading -> parts, of the menu that narrow screens show."""
    text = client.get("/me/").content.decode()
    menu = text[text.index('<details class="menu">') :]
    found: dict[str, list[str]] = {}
    for heading, items in re.findall(r"(?:<p>(\w+)</p>)?<ul>(.*?)</ul>", menu, re.DOTALL):
        found.setdefault(heading, []).extend(re.findall(r">([^<]+)</a>", items))
    return found


def test_money_stands_together_for_those_who_see_it(
    owner: Person, accountant: Person, desk: Desk
) -> None:
    for person in (owner, accountant):
        assert {"Bags", "Earnings"} <= set(groups(desk(person))["Money"])


def test_a_driver_finds_no_money(driver: Person, desk: Desk) -> None:
    found = groups(desk(driver))
    assert "Money" not in found
    shown = {part for parts in found.values() for part in parts}
    assert not shown & {"Bags", "Settlements", "Commission", "Tax", "Earnings"}
    assert "My day" in shown
