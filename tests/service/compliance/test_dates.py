"""What machines hold past its date, or will before anybody comes."""

from datetime import date, timedelta

from fleet.inventory.models import Lot
from service.compliance.queries.dates import Stands, counts, dated
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores

TODAY = NOW.date()


def lot(stores: Stores, code: str, best_before: date) -> Lot:
    return Lot.objects.create(product=stores.cola, code=code, best_before=best_before)


def fill(stores: Stores, *lots: Lot) -> None:
    for one in lots:
        stores.receive(4, one)
    stores.load(4 * len(lots))
    for one in lots:
        stores.fill(4, lot=one)


def test_past_before_the_next_visit_and_after(stores: Stores) -> None:
    # Nobody counts here, so the next visit is after the usual gap of a week.
    fill(
        stores,
        lot(stores, "PAST", TODAY - timedelta(days=1)),
        lot(stores, "LAST-DAY", TODAY),
        lot(stores, "LATER", TODAY + timedelta(days=55)),
    )
    found = {one.lot: one.stands for one in dated(now=NOW, all_of_them=True)}
    assert found == {
        "PAST": Stands.PAST,
        "LAST-DAY": Stands.BEFORE_VISIT,
        "LATER": Stands.AFTER_VISIT,
    }
    assert [one.lot for one in dated(now=NOW)] == ["PAST", "LAST-DAY"]
    assert counts(dated(now=NOW)) == {"past": 4, "before_visit": 4}
    assert not dated(now=NOW)[0].is_planned


def test_what_is_elsewhere_is_no_matter_of_machines(stores: Stores) -> None:
    stores.receive(4, lot(stores, "PAST", TODAY - timedelta(days=1)))
    assert dated(now=NOW) == []


def test_only_the_machines_asked_for(stores: Stores) -> None:
    fill(stores, lot(stores, "PAST", TODAY - timedelta(days=1)))
    assert dated(now=NOW, machines=[stores.machine.pk])
    assert dated(now=NOW, machines=[stores.machine.pk + 1]) == []
