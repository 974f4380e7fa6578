"""The page of a machine leads on to what else is kept of it, by who may see it."""

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client

from fleet.machines.actions.machines import set_ways_of_paying
from fleet.machines.models import Machine, Product
from people.models import Person
from tests.cast import NOW, Cast

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


def test_links_by_who_may_follow_them(lobby: Machine, cast: Cast, desk: Desk) -> None:
    site = lobby.placements.get().site
    site.state = "NY"
    site.save()
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    everybody = {
        f"/compliance/access/machines/{lobby.pk}/",
        f"/compliance/energy/machines/{lobby.pk}/",
        f"/compliance/temperatures/{lobby.pk}/",
    }
    desk_only = {f"/fleet/{lobby.pk}/change/"}
    bags = {f"/bags/?search={lobby.asset_tag}"}
    money = {f"/earnings/machine/{lobby.pk}/", "/tax/report/?starts_on="}
    may = {
        "owner": everybody | desk_only | bags | money,
        "dispatcher": everybody | desk_only | bags,
        "driver": everybody,
        "accountant": everybody | bags | money,
    }
    for name, links in may.items():
        client = desk(getattr(cast, name))
        page = client.get(f"/fleet/{lobby.pk}/").content.decode()
        part = page[page.index('id="more"') :].partition("</section>")[0]
        for link in everybody | desk_only | bags | money:
            assert (f'href="{link}' in part) == (link in links), (name, link)
        found = [one.partition('"')[0] for one in part.split('href="')[1:]]
        for address in found:
            answer = client.get(address.replace("&amp;", "&"))
            assert answer.status_code == 200, (name, address)


def test_how_one_pays_is_said(lobby: Machine, desk: Desk, owner: Person) -> None:
    client = desk(owner)
    assert "as nothing else is written down" in client.get(f"/fleet/{lobby.pk}/").content.decode()
    set_ways_of_paying(
        machine=lobby, takes="cashless", starts_on=date(2026, 2, 1), actor=owner, now=NOW
    )
    page = client.get(f"/fleet/{lobby.pk}/").content.decode()
    assert "cards only" in page
    assert "since 1 Feb 2026" in page
