"""A test that commits leaves behind what the service is delivered with."""

import pytest

from fleet.compute.audit.events import MEANINGS
from fleet.sales.models import EventMeaning

pytestmark = pytest.mark.xdist_group("seeds")  # the two must follow each other in one process


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("time", ["first", "second"])
def test_all_event_meanings_are_there_after_all_tables_were_emptied(time: str) -> None:
    assert EventMeaning.objects.count() == len(MEANINGS)
