"""Settings that are one row: they stand alike the first time they are asked for and ever after."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from people.models import Person
from people.one_row import OneRow
from service.earnings.models import EarningsSettings
from tests.callers import Caller
from tests.typed import typed

KINDS = OneRow.__subclasses__()


def said(row: OneRow) -> dict[str, str]:
    """A row as a page or an answer would write it."""
    fields = type(row)._meta.concrete_fields
    return {field.name: str(field.value_from_object(row)) for field in fields}


@pytest.mark.django_db
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_a_row_just_made_is_as_its_columns_keep_it(kind: type[OneRow]) -> None:
    kind._default_manager.all().delete()
    first = said(kind.the())
    assert first == said(kind.the())
    assert kind._default_manager.count() == 1


@pytest.mark.django_db
def test_a_page_opened_when_the_service_is_new_may_be_sent(
    owner: Person, desk: Callable[[Person], Client]
) -> None:
    EarningsSettings.objects.all().delete()
    address = reverse("office:earnings-settings")
    client = desk(owner)
    assert client.post(address, typed(client, address)).status_code == 302


@pytest.mark.django_db
def test_an_answer_of_a_new_service_may_be_matched(as_owner: Caller) -> None:
    EarningsSettings.objects.all().delete()
    tag = as_owner.get("/earnings-settings")["ETag"]
    assert as_owner.get("/earnings-settings")["ETag"] == tag
