"""Files come in: accepted, waiting, here already, or no audit file at all."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.machines.models import Machine
from fleet.sales.models import AuditRead, MachineInterval, SaleInterval
from fleet.sales.outcome import Result
from people.models import AuditEntry, Person
from tests.fleet.sales.helpers import arrived, day, faults, hand_in, sold, take, told
from tests.fleet.sales.meter import Meter
from tests.world import World

SAMPLES = Path(__file__).resolve().parents[2] / "checks" / "audit_reads"


@pytest.fixture
def meter() -> Meter:
    return Meter.with_buttons("1", "2", "3", "4")


def test_two_reads_make_one_interval_with_a_line_a_column(lobby: Machine, meter: Meter) -> None:
    first = take(meter.sell("1", cash=40), day(0))
    assert (first.result, first.machine, first.interval_ids) == (Result.ACCEPTED, "LOB-1", ())
    assert "first" in first.said
    second = take(meter.sell("1", cash=3, cashless=2).sell("2", test=1, free=2), day(1))
    (interval,) = told(lobby)
    assert second.interval_ids == (interval.pk,)
    assert (interval.paid_units, interval.paid_minor) == (5, 875)
    assert (interval.cash_units, interval.cashless_units) == (3, 2)
    assert (interval.test_units, interval.free_units) == (1, 2)
    assert (interval.currency, interval.exponent, interval.sum_agrees) == ("USD", 2, True)
    line = interval.lines.get(selection_code="1")
    assert line.column.position.label == "1"
    assert line.set_up.product.name == "Cola"
    assert (line.paid_units, line.cash_units, line.cashless_minor) == (5, 3, 350)
    assert not faults([interval])


def test_moments_are_kept_in_the_machines_words_and_in_ours(lobby: Machine, meter: Meter) -> None:
    take(meter, day(0))
    read = AuditRead.objects.get()
    assert read.clock_text == "20260202 060000"
    assert read.clock_at == day(0)
    assert read.taken_at == arrived(day(0), arrived(day(0)) - arrived(day(0)))
    assert (read.drift_s, read.clock_state) == (120, "good")


def test_bytes_are_kept_and_read_back_as_they_came(lobby: Machine, meter: Meter) -> None:
    data = meter.read(day(0))
    hand_in(data, at=arrived(day(0)), name="night/LOB-1.dts")
    read = AuditRead.objects.get()
    assert (bytes(read.raw), read.size, read.name) == (data, len(data), "night/LOB-1.dts")


def test_the_same_file_twice_changes_nothing_and_says_so(lobby: Machine, meter: Meter) -> None:
    data = meter.read(day(0))
    (first,) = hand_in(data, at=arrived(day(0)))
    before = AuditEntry.objects.count()
    (again,) = hand_in(data, at=arrived(day(3)), name="another name.dts")
    assert (again.result, again.read_id) == (Result.DUPLICATE, first.read_id)
    assert "accepted" in again.said
    assert AuditRead.objects.count() == 1
    assert AuditEntry.objects.count() == before


def test_one_file_twice_in_one_batch_is_taken_once(lobby: Machine, meter: Meter) -> None:
    data = meter.read(day(0))
    first, again = hand_in(data, data, at=arrived(day(0)))
    assert (first.result, again.result) == (Result.ACCEPTED, Result.DUPLICATE)
    assert again.read_id == first.read_id


def test_the_same_read_with_other_line_ends_is_known_by_its_block(
    lobby: Machine, meter: Meter
) -> None:
    data = meter.read(day(0))
    (first,) = hand_in(data, at=arrived(day(0)))
    (again,) = hand_in(data.replace(b"\r\n", b"\n"), at=arrived(day(0)))
    assert (again.result, again.read_id) == (Result.DUPLICATE, first.read_id)


def test_the_same_read_by_another_reader_is_known_by_its_own_words(
    lobby: Machine, meter: Meter
) -> None:
    """Moment of the read, number of reads, paid vends: the block differs, the read does not."""
    (first,) = hand_in(meter.read(day(0)), at=arrived(day(0)))
    meter.reads -= 1
    meter.events = ["MA5*LAST*ADDED BY A HANDHELD"]
    (again,) = hand_in(meter.read(day(0)), at=arrived(day(0)))
    assert (again.result, again.read_id) == (Result.DUPLICATE, first.read_id)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"\x89PNG not an audit", "nothing of the audit standard"),
        (b"ST*1\r\n" + b"x" * 1_048_576, "1 MiB"),
    ],
)
def test_what_is_no_audit_file_is_turned_away(db: None, data: bytes, said: str) -> None:
    (outcome,) = hand_in(data, at=arrived(day(0)))
    assert outcome.result is Result.UNREADABLE
    assert said in outcome.said
    assert not AuditRead.objects.exists()


def test_an_unknown_machine_waits(lobby: Machine) -> None:
    stranger = Meter.with_buttons("1", asset="NO-SUCH", serial="S-1", board="B-1")
    outcome = take(stranger, day(0))
    assert (outcome.result, outcome.machine_id) == (Result.WAITING, None)
    (reason,) = outcome.waiting
    assert reason["code"] == "unmatched"
    for told_by_the_file in ("NO-SUCH", "S-1", "B-1"):
        assert told_by_the_file in reason["text"]


@pytest.mark.parametrize(
    ("record", "by"),
    [
        ({"serial": "ZZZ0001"}, "serial"),
        ({"board_serial": "ZZZ9001"}, "board_serial"),
        ({"serial": "ZZZ0001", "board_serial": "ZZZ9001"}, "serial"),
    ],
)
def test_without_a_known_asset_number_serials_tell(
    world: World, record: dict[str, str], by: str
) -> None:
    machine = world.machine("OTHER", world.kind(), **record)
    outcome = take(Meter.with_buttons("1", asset=""), day(0))
    assert (outcome.machine_id, outcome.matched_by) == (machine.pk, by)


def test_two_machines_named_in_one_file_wait_for_a_person(lobby: Machine, world: World) -> None:
    world.machine("GYM-1", lobby.kind, serial="ZZZ0001")
    outcome = take(Meter.with_buttons("1"), day(0))
    assert outcome.result is Result.WAITING
    (reason,) = outcome.waiting
    assert reason["code"] == "disagreement"
    assert "GYM-1" in reason["text"]
    assert "LOB-1" in reason["text"]


def test_one_serial_in_two_records_is_ambiguous(world: World) -> None:
    kind = world.kind()
    world.machine("A-1", kind, serial="ZZZ0001")
    world.machine("A-2", kind, serial="ZZZ0001")
    outcome = take(Meter.with_buttons("1", asset=""), day(0))
    assert [reason["code"] for reason in outcome.waiting] == ["ambiguous"]


def test_a_serial_that_merely_differs_is_a_warning(lobby: Machine, world: World) -> None:
    machine = world.machine("GYM-2", lobby.kind, serial="ZZZ7777")
    outcome = take(Meter.with_buttons("1", asset="GYM-2"), day(0))
    assert (outcome.result, outcome.machine_id) == (Result.ACCEPTED, machine.pk)
    assert "serial_differs" in [warning["code"] for warning in outcome.warnings]


def test_a_file_of_another_machine_than_chosen_waits(lobby: Machine, world: World) -> None:
    other = world.machine("GYM-1", lobby.kind)
    (outcome,) = hand_in(Meter.with_buttons("1").read(day(0)), at=arrived(day(0)), machine=other)
    assert (outcome.result, outcome.machine_id) == (Result.WAITING, other.pk)
    assert outcome.waiting[0]["code"] == "disagreement"


def test_a_file_without_a_name_goes_to_the_machine_chosen(lobby: Machine) -> None:
    nameless = Meter.with_buttons("1", asset="", serial="", board="")
    (outcome,) = hand_in(nameless.read(day(0)), at=arrived(day(0)), machine=lobby)
    assert (outcome.result, outcome.matched_by) == (Result.ACCEPTED, "chosen")


def test_a_wrong_check_value_waits(lobby: Machine, meter: Meter) -> None:
    (outcome,) = hand_in(meter.read(day(0), wrong_check=True), at=arrived(day(0)))
    assert (outcome.result, outcome.machine_id) == (Result.WAITING, lobby.pk)
    assert [reason["code"] for reason in outcome.waiting] == ["check_value_wrong"]


def test_a_damaged_copy_of_an_accepted_read_says_of_which(lobby: Machine, meter: Meter) -> None:
    (first,) = hand_in(meter.read(day(0)), at=arrived(day(0)))
    meter.reads -= 1
    (copy,) = hand_in(meter.read(day(0), wrong_check=True), at=arrived(day(0)))
    assert copy.result is Result.WAITING
    assert str(first.read_id) in copy.waiting[0]["text"]


def test_a_file_cut_short_waits_and_closes_no_period(lobby: Machine, meter: Meter) -> None:
    take(meter, day(0))
    data = meter.sell("1", cash=3).read(day(1))
    (outcome,) = hand_in(data[: data.index(b"PA1*4")], at=arrived(day(1)))
    assert "truncated" in [reason["code"] for reason in outcome.waiting]
    assert not MachineInterval.objects.exists()


def test_a_selection_that_the_record_lacks_is_kept_with_its_sales(
    lobby: Machine, meter: Meter
) -> None:
    meter.buttons["77"] = type(meter.buttons["1"])(price=100)
    take(meter, day(0))
    take(meter.sell("77", cash=4), day(1))
    (interval,) = told(lobby)
    line = interval.lines.get(selection_code="77")
    assert (line.paid_units, line.column, line.selection) == (4, None, None)
    assert "selection_unknown" in [warning["code"] for warning in interval.warnings]
    assert not faults([interval])


def test_leading_zeros_do_not_hide_a_selection(lobby: Machine) -> None:
    meter = Meter.with_buttons("01", "02")
    take(meter, day(0))
    take(meter.sell("01", cash=4), day(1))
    (interval,) = told(lobby)
    assert interval.lines.get(selection_code="01").column.position.label == "1"


def test_what_no_selection_accounts_for_stands_unassigned(lobby: Machine, meter: Meter) -> None:
    take(meter, day(0))
    meter.base_count, meter.base_minor = 7, 700
    meter.base_cash, meter.base_cash_minor = 7, 700
    take(meter.sell("1", cash=1), day(1))
    (interval,) = told(lobby)
    assert sold(interval) == {"1": 1, "2": 0, "3": 0, "4": 0, "": 7}
    rest = interval.lines.get(is_unassigned=True)
    assert (rest.paid_minor, rest.cash_units, rest.cash_minor) == (700, 7, 700)
    assert not faults([interval])


def test_every_read_leaves_one_entry(lobby: Machine, meter: Meter, dispatcher: Person) -> None:
    hand_in(meter.read(day(0)), at=arrived(day(0)), actor=dispatcher)
    entry = AuditEntry.objects.get(object_type="sales.AuditRead")
    assert (entry.actor, entry.verb) == (dispatcher, "receive read")
    assert entry.object_id == AuditRead.objects.get().pk


def test_the_sample_read_waits_for_its_machine_and_is_then_told(db: None) -> None:
    (outcome,) = hand_in((SAMPLES / "read_a.dts").read_bytes(), at=arrived(day(60)))
    assert outcome.result is Result.WAITING
    read = AuditRead.objects.get()
    assert (read.asset_read, read.currency, read.verdict) == ("ASSET-0042", "EUR", "ok")


def test_queries_do_not_grow_with_the_files(
    lobby: Machine, world: World, django_assert_num_queries: object
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def cost(first_day: int, tags: list[str]) -> int:
        datas = []
        for tag in tags:
            meter = Meter.with_buttons("1", "2", asset=tag, serial="", board=f"B-{tag}")
            datas += [meter.sell("1", cash=2).read(day(first_day + n)) for n in range(2)]
        with CaptureQueriesContext(connection) as queries:
            outcomes = hand_in(*datas, at=arrived(day(first_day + 2)))
        assert {outcome.result for outcome in outcomes} == {Result.ACCEPTED}
        return len(queries)

    tags = [world.machine(f"ROW-{n}", lobby.kind, site=None).asset_tag for n in range(9)]
    few, many = cost(0, tags[:2]), cost(0, tags[2:])
    assert few == many
    # Once more, behind reads that are there.
    few, many = cost(4, tags[:2]), cost(4, tags[2:])
    assert few == many
    assert SaleInterval.objects.exists()


@pytest.mark.parametrize(
    "clock", ["ID5*99991231*235959", "ID5*00010101*000000", "ID5*19000101*0000", "ID5*20263355*99"]
)
def test_no_clock_is_too_odd_to_be_taken_in(lobby: Machine, meter: Meter, clock: str) -> None:
    take(meter, day(0))
    data = meter.sell("1", cash=2).read(day(1))
    odd = data.replace(b"ID5*20260203*060000", clock.encode())
    odd = odd[: odd.index(b"G85*")] + odd[odd.index(b"SE*") :]
    (outcome,) = hand_in(odd, at=arrived(day(1)))
    assert outcome.result is Result.ACCEPTED
    take(meter.sell("1", cash=3), day(2))
    assert [sold(interval)["1"] for interval in told(lobby)] == [2, 3]
    (again,) = hand_in(odd, at=arrived(day(3)))
    assert again.result is Result.DUPLICATE


@given(cuts=st.lists(st.tuples(st.integers(0, 1500), st.binary(max_size=12)), max_size=6))
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_bytes_at_all_raise(lobby: Machine, cuts: list[tuple[int, bytes]]) -> None:
    data = Meter.with_buttons("1", "2", "3").sell("1", cash=3).read(day(0))
    for at, piece in cuts:
        data = data[:at] + piece + data[at + len(piece) :]
    (outcome,) = hand_in(data, at=arrived(day(0)))
    assert outcome.result in Result
    assert not faults(told(lobby))
