"""Two doors at once, on a real database with real threads."""

from threading import Event

import pytest
from django.db import transaction

from fleet.machines.models import Machine
from fleet.sales.actions import tray
from fleet.sales.locks import lock_machines
from fleet.sales.models import AuditRead, MachineInterval
from fleet.sales.outcome import Result
from people.errors import Unable
from people.models import Person
from tests.cast import NOW
from tests.fleet.sales.helpers import arrived, day, faults, hand_in, sold, take, told
from tests.fleet.sales.meter import Meter
from tests.races import at_once

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_second_upload_of_a_machine_waits_for_the_first(lobby: Machine) -> None:
    """Without the lock both would find no read before them, and nothing would be cut between."""
    held, done = Event(), Event()

    def hold() -> None:
        with transaction.atomic():
            lock_machines([lobby])
            held.set()
            assert not done.wait(timeout=1), "the upload did not wait for the lock"

    def upload() -> None:
        assert held.wait(timeout=10)
        take(Meter.with_buttons("1"), day(0))
        done.set()

    at_once(hold, upload)
    assert AuditRead.objects.count() == 1


def test_two_uploads_for_one_machine_leave_one_row_of_reads(lobby: Machine) -> None:
    meter = Meter.with_buttons("1", "2")
    datas = [meter.sell("1", cash=n).read(day(n)) for n in range(8)]
    found = at_once(
        *(
            lambda data=data: hand_in(data, at=arrived(day(9)))[0].result  # type: ignore[misc]
            for data in datas
        )
    )
    assert found == [Result.ACCEPTED] * 8
    places = AuditRead.objects.order_by("place").values_list("place", "paid_count")
    assert list(places) == [(n + 1, n * (n + 1) // 2) for n in range(8)]
    assert [sold(interval)["1"] for interval in told(lobby)] == [1, 2, 3, 4, 5, 6, 7]
    assert not faults(told(lobby))


def test_one_file_by_two_doors_is_kept_once(lobby: Machine) -> None:
    data = Meter.with_buttons("1").read(day(0))
    found = at_once(*[lambda: hand_in(data, at=arrived(day(0)))[0].result] * 4)
    assert sorted(found) == ["accepted", "duplicate", "duplicate", "duplicate"]
    assert AuditRead.objects.count() == 1


def test_one_unmatched_file_by_two_doors_is_kept_once(db: None) -> None:
    """No machine to lock: the file's own fingerprint keeps the second out."""
    data = Meter.with_buttons("1", asset="NO-SUCH").read(day(0))
    found = at_once(*[lambda: hand_in(data, at=arrived(day(0)))[0].result] * 4)
    assert sorted(found) == ["duplicate", "duplicate", "duplicate", "waiting"]


def test_two_people_decide_about_one_read_and_one_is_refused(
    lobby: Machine, dispatcher: Person
) -> None:
    data = Meter.with_buttons("1").read(day(0), wrong_check=True)
    (outcome,) = hand_in(data, at=arrived(day(0)))
    read = AuditRead.objects.get(pk=outcome.read_id)
    found = at_once(
        *[lambda: tray.accept(read=read, actor=dispatcher, now=NOW, reason="it looks right")] * 2
    )
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    assert not MachineInterval.objects.exists()
