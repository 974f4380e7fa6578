"""What becomes of findings: tickets, verdicts that teach, dismissals that ask for more."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from fleet.machines.models import Machine
from people.errors import Unable
from people.models import AuditEntry, Person
from service.tickets.actions import moves, reporting
from service.tickets.models import Symptom, Ticket
from service.watch.actions import findings, rules
from service.watch.actions.verdicts import take_verdicts
from service.watch.models import Finding, Look, Verdict
from service.watch.queries.listing import taught
from service.watch.queries.quality import quality
from tests.fleet.demand.sellers import column, fit_all, shop
from tests.races import at_once
from tests.world import World

from .sold import Seller, live, looked, mend

pytestmark = pytest.mark.django_db
Found = tuple[Finding, Seller]


@pytest.fixture
def silent(world: World, owner: Person) -> Found:
    """A column that stopped six days ago, beside a machine that sells."""
    good, bad = shop(world, 2)
    Seller(good, world.now).sell()
    seller = Seller(bad, world.now).sell(stops={"1": 6})
    fit_all(owner, world.now)
    looked(world.now)
    (found,) = live()
    return found, seller


def test_a_finding_becomes_a_ticket_that_stands_alone(silent: Found, dispatcher: Person) -> None:
    found, seller = silent
    ticket = findings.to_ticket(finding=found, actor=dispatcher, now=seller.until)
    assert (found.state, found.ticket) == (Finding.State.TICKETED, ticket)
    assert (ticket.source, ticket.symptom.code) == (Ticket.Source.WATCH, "silent")
    assert (ticket.machine, ticket.column) == (found.machine, found.column)
    assert ticket.said == found.said
    assert ticket.because["causes"] == found.causes
    assert AuditEntry.objects.filter(
        object_type="watch.Finding", verb="make finding a ticket"
    ).exists()
    with pytest.raises(Unable) as refused:
        findings.to_ticket(finding=found, actor=dispatcher, now=seller.until)
    assert refused.value.code == "not_open"
    with pytest.raises(Unable) as refused:
        findings.dismiss(finding=found, reason="expected", actor=dispatcher, now=seller.until)
    assert refused.value.code == "has_a_ticket"


def test_a_finding_joins_the_ticket_that_is_open_already(silent: Found, dispatcher: Person) -> None:
    found, seller = silent
    told = reporting.report(
        machine=found.machine,
        column=found.column,
        symptom=Symptom.objects.get(code="silent"),
        source=Ticket.Source.HOST,
        actor=dispatcher,
        now=seller.until,
    ).ticket
    findings.to_ticket(finding=found, actor=dispatcher, now=seller.until)
    assert found.ticket == told
    joined = Ticket.objects.exclude(pk=told.pk).get()
    assert (joined.state, joined.joined_to) == (Ticket.State.JOINED, told)


def test_the_cause_of_its_ticket_is_the_verdict_and_a_case_to_learn_from(
    silent: Found, owner: Person
) -> None:
    found, seller = silent
    before = {one["code"]: one["weight"] for one in found.causes}
    assert found.causes[0]["code"] != "motor"
    ticket = findings.to_ticket(finding=found, actor=owner, now=seller.until)
    closed_at = seller.until + timedelta(hours=20)
    mend(ticket, "motor", by=owner, at=closed_at)
    assert take_verdicts(now=closed_at) == 1
    assert take_verdicts(now=closed_at) == 0
    found.refresh_from_db()
    assert (found.state, found.verdict.said) == (Finding.State.RECOVERED, Verdict.Said.TRUE)
    assert found.verdict.cause.code == "motor"
    assert found.verdict.delay_days == pytest.approx(6, abs=0.2)
    # What was before the work is not held against the column again ...
    at = seller.read(seller.until + timedelta(days=1), c2=2)
    looked(at)
    assert not live()
    # ... and when it stops again, the cause of the last time has moved up.
    for day in range(2, 10):
        at = seller.read(seller.until + timedelta(days=day), c2=3)
    looked(at)
    (again,) = live()
    assert again.pk != found.pk
    assert again.since > closed_at
    after = {one["code"]: one for one in again.causes}
    assert after["motor"]["weight"] > before["motor"]
    assert (after["motor"]["cases"], after["motor"]["cases_in_all"]) == (1, 1)
    assert after["motor"]["cases_said"] == "1 of 1 such ticket closed so"


def test_a_ticket_closed_with_nothing_wrong_makes_it_false(silent: Found, owner: Person) -> None:
    found, seller = silent
    ticket = findings.to_ticket(finding=found, actor=owner, now=seller.until)
    mend(ticket, "no_fault", by=owner, at=seller.until + timedelta(hours=3))
    take_verdicts(now=seller.until + timedelta(hours=4))
    assert Verdict.objects.get().said == Verdict.Said.FALSE
    measured = quality(now=seller.until + timedelta(days=1), days=30)
    (kind,) = measured.kinds
    assert (kind.opened, kind.true, kind.false) == (1, 0, 1)
    assert kind.right is not None
    assert (kind.right.hits, kind.right.cases, kind.right.few) == (0, 1, True)
    assert "too few to judge by" in kind.right.said


def test_a_dropped_ticket_says_nothing(silent: Found, owner: Person) -> None:
    found, seller = silent
    ticket = findings.to_ticket(finding=found, actor=owner, now=seller.until)
    moves.drop(ticket=ticket, reason="asked twice", actor=owner, now=seller.until)
    take_verdicts(now=seller.until)
    found.refresh_from_db()
    assert (found.state, found.verdict.said) == (Finding.State.RECOVERED, Verdict.Said.UNCLEAR)


def test_what_people_told_first_was_missed(silent: Found, world: World, owner: Person) -> None:
    found, seller = silent
    other = Machine.objects.exclude(pk=found.machine_id).get()
    told = reporting.report(
        machine=other,
        column=column(other, "2"),
        symptom=Symptom.objects.get(code="sold_out_full"),
        source=Ticket.Source.HOST,
        actor=owner,
        now=seller.until + timedelta(hours=1),
    ).ticket
    mend(told, "drop_sensor", by=owner, at=seller.until + timedelta(hours=9))
    ticket = findings.to_ticket(finding=found, actor=owner, now=seller.until)
    mend(ticket, "stuck", by=owner, at=seller.until + timedelta(hours=9))
    take_verdicts(now=seller.until + timedelta(hours=10))
    before = reporting.report(
        machine=other,
        column=column(other, "1"),
        symptom=Symptom.objects.get(code="sold_out_full"),
        source=Ticket.Source.HOST,
        actor=owner,
        now=seller.until - timedelta(days=2),
    ).ticket
    mend(before, "drop_sensor", by=owner, at=seller.until - timedelta(days=1))
    (kind,) = quality(now=seller.until + timedelta(days=1), days=30).kinds
    # What was told before the first look is not counted.
    assert (kind.true, kind.missed) == (1, 1)
    assert kind.caught is not None
    assert (kind.caught.hits, kind.caught.cases) == (1, 2)


def test_a_dismissal_keeps_quiet_and_then_asks_for_more(silent: Found, dispatcher: Person) -> None:
    found, seller = silent
    findings.dismiss(
        finding=found,
        reason=Finding.Reason.EXPECTED,
        note="the host asked us to let it run empty",
        actor=dispatcher,
        now=seller.until,
    )
    assert (found.state, found.verdict.said) == (Finding.State.DISMISSED, Verdict.Said.FALSE)
    look = looked(seller.until + timedelta(hours=1))
    assert not live()
    assert "held back" in look.outcome
    known = taught(found, now=seller.until + timedelta(hours=2))
    assert known is not None
    assert (known.learned.times, known.needed - known.least) == (1, pytest.approx(1.0))
    # After the quiet time it takes ten times as strong evidence.
    Finding.objects.filter(pk=found.pk).update(quiet_until=seller.until)
    looked(seller.until + timedelta(hours=2))
    assert bool(live()) == (found.strength >= known.needed)


def test_known_teaches_nothing_and_is_true(silent: Found, dispatcher: Person) -> None:
    found, seller = silent
    findings.dismiss(finding=found, reason="known", actor=dispatcher, now=seller.until, teach=True)
    assert (found.teaches, found.verdict.said) == (False, Verdict.Said.TRUE)
    with pytest.raises(Unable):
        findings.dismiss(finding=found, reason="known", actor=dispatcher, now=seller.until)


def test_a_rule_makes_a_ticket_when_it_is_in_use(silent: Found, owner: Person) -> None:
    found, seller = silent
    rule = rules.save_rule(
        changes={
            "kind": "silent",
            "strength": 1.5,
            "looks": 2,
            "symptom": Symptom.objects.get(code="sold_out_full"),
            "urgency": "down",
            "active": False,
        },
        actor=owner,
        now=seller.until,
    )
    looked(seller.until + timedelta(hours=1))
    assert not Ticket.objects.exists()
    rules.save_rule(rule=rule, changes={"active": True}, actor=owner, now=seller.until)
    look = looked(seller.until + timedelta(hours=2))
    assert look.ticketed == 1
    ticket = Ticket.objects.get()
    assert (ticket.urgency, ticket.symptom.code) == ("down", "sold_out_full")
    found.refresh_from_db()
    assert found.ticket == ticket
    # What it made once it does not make again.
    assert looked(seller.until + timedelta(hours=3)).ticketed == 0
    assert Look.objects.filter(state="done").count() == 4


@pytest.mark.django_db(transaction=True)
def test_of_two_who_act_at_once_one_is_told(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    look = Look.objects.create(
        over="asked",
        day=world.now.date(),
        state="done",
        started_at=world.now,
        finished_at=world.now,
    )
    found = Finding.objects.create(
        machine=machine,
        kind="clock",
        opened_at=world.now,
        last_seen_at=world.now,
        look=look,
        strength=1.0,
        strength_said="twice the limit",
        said="It is slow.",
    )
    acts: list[Callable[[], object]] = [
        lambda: findings.to_ticket(finding=found, actor=owner, now=world.now),
        lambda: findings.dismiss(
            finding=Finding.objects.get(pk=found.pk), reason="known", actor=owner, now=world.now
        ),
    ]
    told = at_once(*acts)
    assert sum(isinstance(one, Unable) for one in told) == 1
