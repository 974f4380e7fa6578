"""What proves something to an authority stays as it was written, whatever program asks."""

import pytest
from django.db import DatabaseError, transaction

from people.models import Person
from service.compliance.actions import duties, tax_rules
from service.compliance.actions.duties import Seen
from service.compliance.models import DutyDone, Evidence, TaxRule
from tests.cast import NOW
from tests.service.compliance.test_duties import TODAY, by_hand, picture

pytestmark = pytest.mark.django_db


def test_evidence_and_what_was_done_are_never_changed(owner: Person) -> None:
    (done,) = duties.record(
        duties=[by_hand(owner)], seen=Seen(TODAY), actor=owner, now=NOW, file=picture()
    )
    for change in (
        lambda: Evidence.objects.update(name="other.png"),
        lambda: Evidence.objects.all().delete(),
        lambda: DutyDone.objects.filter(pk=done.pk).update(note="later"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()
    duties.set_aside(done=done, why="another paper", actor=owner, now=NOW)


def test_of_a_rule_only_its_end_is_told_later(owner: Person) -> None:
    (row, *_) = tax_rules.load_packs(states=["FL"], actor=owner, now=NOW)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        TaxRule.objects.filter(pk=row.pk).update(data={})
    tax_rules.remove_rule(rule=row, why="not ours", actor=owner, now=NOW)
