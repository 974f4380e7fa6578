"""Duties: worked out from rules, seen to with proof, reminded of once."""

import io
from datetime import date, timedelta

import pytest
from PIL import Image

from fleet.machines.actions import machines
from fleet.machines.models import Machine, Product, Site
from people.errors import NotAllowed, Unacceptable
from people.models import AuditEntry, Notice, Person
from service.compliance.actions import duties, duty_rules, duty_turns
from service.compliance.actions.duties import Seen
from service.compliance.actions.errors import DutyNotOpen
from service.compliance.actions.evidence import GivenFile
from service.compliance.actions.reminders import remind
from service.compliance.duty_packs import packs
from service.compliance.models import Duty, DutyDone, DutyRule, Evidence
from service.compliance.queries.duties import counts, duties_listed, duties_shown
from service.compliance.queries.subjects import without_state
from tests.cast import NOW
from tests.world import World

TODAY = NOW.date()


def picture() -> GivenFile:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(out, format="JPEG")
    return GivenFile("label.jpg", out.getvalue())


def rule(actor: Person, **changes: object) -> DutyRule:
    given: dict[str, object] = {
        "kind": "notice",
        "subject": "machine",
        "title": "Label on the machine",
        "said": "Name and address on each machine.",
        "authority": "The department",
        "citation": "Rule 1",
        "status": "read",
        "notice_days": 14,
    }
    return duty_rules.save_rule(changes=given | changes, actor=actor, now=NOW)


def in_state(machine: Machine, state: str) -> Site:
    site = machine.placements.get().site
    site.state = state
    site.save()
    return site


def test_every_pack_names_source_and_status(db: None) -> None:
    found = packs()
    assert len({one.state for one in found} - {""}) >= 10
    assert all(one.citation and one.status in ("read", "secondary", "memory") for one in found)


def test_packs_are_taken_in_once_and_keep_what_was_changed(owner: Person) -> None:
    assert duty_rules.load_packs(actor=owner, now=NOW) == len(packs())
    one = DutyRule.objects.get(key="ca-records")
    duty_rules.save_rule(rule=one, changes={"notice_days": 77}, actor=owner, now=NOW)
    assert duty_rules.load_packs(actor=owner, now=NOW) == 0
    one.refresh_from_db()
    assert one.notice_days == 77


def test_a_rule_asks_where_machines_stand(owner: Person, lobby: Machine) -> None:
    of_florida = rule(owner, state="FL")
    assert not Duty.objects.exists()
    assert [one.name for one in without_state()] == ["Ferry landing"]
    in_state(lobby, "FL")
    worked = duty_turns.work_out(now=NOW)
    assert (worked.opened, worked.stood) == (1, 0)
    duty = Duty.objects.get()
    assert (duty.rule, duty.machine, duty.due_on) == (
        of_florida,
        lobby,
        TODAY + timedelta(days=14),
    )
    assert duty.because == "never written down as done"
    again = duty_turns.work_out(now=NOW)
    assert (again.opened, again.fell_away, again.stood) == (0, 0, 1)
    machines.change_machine(machine=lobby, changes={"status": "in_shop"}, actor=owner, now=NOW)
    assert duty_turns.work_out(now=NOW).fell_away == 1


def test_rules_of_kept_food_ask_only_where_it_is(
    owner: Person, lobby: Machine, world: World
) -> None:
    rule(owner, applies_to="kept", subject="business", title="Permit")
    assert not Duty.objects.exists()
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    duty_turns.work_out(now=NOW)
    assert Duty.objects.get().subject == "business"


def test_one_a_site_and_one_for_the_business(owner: Person, lobby: Machine, world: World) -> None:
    world.machine("LOB-2", lobby.kind, site=lobby.placements.get().site)
    rule(owner, subject="site", title="Of the site")
    rule(owner, subject="business", title="Of the business")
    assert Duty.objects.filter(subject="site").count() == 1
    assert Duty.objects.filter(subject="business").count() == 1


def test_done_with_a_picture_it_comes_again_by_the_paper(owner: Person, lobby: Machine) -> None:
    rule(owner, every_months=12)
    duty = Duty.objects.get()
    (written,) = duties.record(
        duties=[duty],
        seen=Seen(TODAY, valid_until=date(2027, 1, 31), number=" 77-A "),
        actor=owner,
        now=NOW,
        file=picture(),
    )
    assert written.number == "77-A"
    assert written.evidence is not None
    assert written.evidence.media_type == "image/jpeg"
    duty.refresh_from_db()
    assert duty.state == "done"
    following = Duty.objects.get(state="open")
    assert following.due_on == date(2027, 1, 31)
    assert AuditEntry.objects.filter(verb="record duty done").count() == 1
    with pytest.raises(DutyNotOpen):
        duties.record(duties=[duty], seen=Seen(TODAY), actor=owner, now=NOW)


def test_what_is_owed_once_stays_done(owner: Person, lobby: Machine) -> None:
    rule(owner)
    duties.record(duties=[Duty.objects.get()], seen=Seen(TODAY), actor=owner, now=NOW)
    duty_turns.work_out(now=NOW)
    assert not Duty.objects.filter(state="open").exists()


@pytest.mark.parametrize(
    ("done_on", "follows"),
    [(TODAY, date(2027, 4, 30)), (TODAY - timedelta(days=40), date(2027, 4, 30))],
)
def test_done_early_for_a_day_of_the_year_counts_for_that_year(
    owner: Person, lobby: Machine, done_on: date, follows: date
) -> None:
    rule(owner, every_months=12, month_day="04-30")
    duty = Duty.objects.get()
    assert duty.due_on == date(2026, 4, 30)
    duties.record(duties=[duty], seen=Seen(done_on), actor=owner, now=NOW)
    assert Duty.objects.get(state="open").due_on == follows


def test_many_at_once_share_one_paper(owner: Person, lobby: Machine, world: World) -> None:
    world.machine("LOB-2", lobby.kind, site=lobby.placements.get().site)
    rule(owner)
    both = list(Duty.objects.all())
    assert len(both) == 2
    duties.record(duties=both, seen=Seen(TODAY), actor=owner, now=NOW, file=picture())
    assert Evidence.objects.count() == 1
    assert DutyDone.objects.values("evidence").distinct().count() == 1


def test_taken_back_it_is_open_again(owner: Person, lobby: Machine) -> None:
    rule(owner, every_months=1)
    (written,) = duties.record(duties=[Duty.objects.get()], seen=Seen(TODAY), actor=owner, now=NOW)
    with pytest.raises(Unacceptable):
        duties.set_aside(done=written, why=" ", actor=owner, now=NOW)
    duties.set_aside(done=written, why="other machine", actor=owner, now=NOW)
    (again,) = Duty.objects.filter(state="open")
    assert again.pk == written.duty_id
    assert Duty.objects.filter(state="fell_away").count() == 1
    assert duty_turns.work_out(now=NOW).stood == 1


def test_taken_back_late_it_leaves_what_was_done_since(owner: Person, lobby: Machine) -> None:
    rule(owner, every_months=1)
    (first,) = duties.record(duties=[Duty.objects.get()], seen=Seen(TODAY), actor=owner, now=NOW)
    second = Duty.objects.get(state="open")
    duties.record(duties=[second], seen=Seen(TODAY), actor=owner, now=NOW)
    third = Duty.objects.get(state="open")
    duties.set_aside(done=first, why="written down twice", actor=owner, now=NOW)
    assert list(Duty.objects.filter(state="open")) == [third]
    first.duty.refresh_from_db()
    assert first.duty.state == Duty.State.FELL_AWAY
    assert duty_turns.work_out(now=NOW).stood == 1


def test_who_may_write_it_down(
    owner: Person, driver: Person, other_driver: Person, accountant: Person, lobby: Machine
) -> None:
    rule(owner, owner=driver, every_months=1)
    with pytest.raises(NotAllowed):
        duties.record(duties=[Duty.objects.get()], seen=Seen(TODAY), actor=other_driver, now=NOW)
    duties.record(duties=[Duty.objects.get()], seen=Seen(TODAY), actor=driver, now=NOW)
    (following,) = Duty.objects.filter(state="open")
    duties.record(duties=[following], seen=Seen(TODAY), actor=accountant, now=NOW)


@pytest.mark.parametrize(
    ("seen", "field"),
    [
        (Seen(TODAY + timedelta(days=1)), "done_on"),
        (Seen(TODAY, valid_until=TODAY - timedelta(days=1)), "valid_until"),
        (Seen(TODAY, valid_until=date(2090, 1, 1)), "valid_until"),
    ],
)
def test_dates_that_cannot_be(owner: Person, lobby: Machine, seen: Seen, field: str) -> None:
    rule(owner)
    with pytest.raises(Unacceptable) as refused:
        duties.record(duties=[Duty.objects.get()], seen=seen, actor=owner, now=NOW)
    assert field in refused.value.fields
    assert not DutyDone.objects.exists()


def test_what_is_no_picture_is_no_proof(owner: Person, lobby: Machine) -> None:
    rule(owner)
    with pytest.raises(Unacceptable):
        duties.record(
            duties=[Duty.objects.get()],
            seen=Seen(TODAY),
            actor=owner,
            now=NOW,
            file=GivenFile("label.exe", b"MZ" * 40),
        )
    assert Duty.objects.get().state == "open"


def by_hand(actor: Person, **changes: object) -> Duty:
    given: dict[str, object] = {
        "kind": "insurance",
        "subject": "business",
        "title": "Policy of the van",
        "due_on": TODAY + timedelta(days=10),
        "every_months": 12,
    }
    return duties.save_duty(changes=given | changes, actor=actor, now=NOW)


def test_a_duty_by_hand_comes_again(owner: Person) -> None:
    duty = by_hand(owner)
    duties.record(duties=[duty], seen=Seen(TODAY), actor=owner, now=NOW)
    following = Duty.objects.get(state="open")
    assert (following.title, following.due_on) == ("Policy of the van", date(2027, 3, 2))


def test_a_duty_by_hand_is_moved_and_dropped(owner: Person) -> None:
    duty = by_hand(owner)
    moved = duties.save_duty(
        duty=duty, changes={"due_on": TODAY + timedelta(days=5)}, actor=owner, now=NOW
    )
    assert (moved.sequence, moved.because) == (1, f"moved by {owner}")
    duties.drop(duty=moved, why="sold the van", actor=owner, now=NOW)
    assert Duty.objects.get().state == "fell_away"


def test_a_duty_of_a_machine_names_it(owner: Person) -> None:
    with pytest.raises(Unacceptable):
        by_hand(owner, subject="machine")


def test_a_day_of_the_year_comes_every_year(owner: Person) -> None:
    with pytest.raises(Unacceptable) as refused:
        rule(owner, month_day="04-30", every_months=6)
    assert "every_months" in refused.value.fields


def test_reminded_once_and_once_more_when_late(
    owner: Person, driver: Person, lobby: Machine
) -> None:
    rule(owner, owner=driver)
    Duty.objects.update(due_on=TODAY + timedelta(days=15))
    assert remind(now=NOW) == 0
    Duty.objects.update(due_on=TODAY + timedelta(days=14))
    assert remind(now=NOW) == 1
    assert remind(now=NOW) == 0
    assert [one.person for one in Notice.objects.all()] == [driver]
    Duty.objects.update(due_on=TODAY - timedelta(days=1))
    assert remind(now=NOW) == 1
    assert remind(now=NOW) == 0
    subjects = set(Notice.objects.values_list("person__name", "subject"))
    assert (owner.name, "Duty late: Label on the machine: LOB-1") in subjects
    assert Notice.objects.count() == 3


def test_lists_counts_and_calendars(owner: Person, driver: Person, lobby: Machine) -> None:
    rule(owner, owner=driver)
    by_hand(owner, due_on=TODAY - timedelta(days=1))
    assert counts(TODAY) == {"late": 1, "soon": 1}
    assert counts(TODAY, driver) == {"late": 0, "soon": 1}
    assert [one.title for one in duties_listed(late=TODAY)] == ["Policy of the van"]
    assert [one.title for one in duties_listed(search="ferry")] == ["Label on the machine"]
    assert duties_shown(driver, TODAY, everybodys=False).count() == 1
    assert duties_shown(driver, TODAY, everybodys=True).count() == 2
    # What is given to nobody is the owners'.
    assert [one.title for one in duties_shown(owner, TODAY, everybodys=False)] == [
        "Policy of the van"
    ]
    assert counts(TODAY, owner) == {"late": 1, "soon": 0}
