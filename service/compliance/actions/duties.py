"""Duties seen to: written down with what proves it, given to somebody, moved, taken back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db import transaction

from people import rows
from people.errors import NotAllowed, Unacceptable
from people.models import Business, Person
from people.roles import Role

from ..models import Duty, DutyDone, Evidence
from ..turns import BY_HAND, Turn, next_turn
from . import duty_turns, evidence, lock
from .duty_rules import require_owner
from .errors import DutyNotOpen
from .evidence import GivenFile

MOST_AT_ONCE: Final = 500
LONGEST: Final = timedelta(days=3660)
KEEPERS: Final = (Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)


@dataclass(frozen=True)
class Seen:
    """What is told of duties that were seen to. `valid_until`: as the paper says."""

    done_on: date
    valid_until: date | None = None
    number: str = ""
    note: str = ""


@transaction.atomic
def record(
    *,
    duties: Sequence[Duty],
    seen: Seen,
    actor: Person,
    now: datetime,
    file: GivenFile | Evidence | None = None,
) -> list[DutyDone]:
    """Write down that open turns were seen to, with one paper or picture for all of them; the next
    turn of each is opened.

    The desk and the accountant may, and a driver what is the driver's own. Raises Unacceptable by
    field, DutyNotOpen, NotAllowed.
    """
    if not 1 <= len(duties) <= MOST_AT_ONCE:
        message = f"choose 1 to {MOST_AT_ONCE} duties"
        raise Unacceptable(message, fields={"duties": message})
    _require_dates(seen, now)
    lock.take()
    held = list(
        Duty.objects.select_for_update(of=("self",))
        .filter(pk__in={one.pk for one in duties})
        .select_related("rule", "site", "machine")
        .order_by("pk")
    )
    proof = evidence.keep(file, actor=actor, now=now)
    written: list[DutyDone] = []
    for duty in held:
        if duty.owner_id != actor.pk and not actor.has_role(*KEEPERS):
            raise NotAllowed(f"{duty}: only its owner or the desk writes this down")
        if duty.state != Duty.State.OPEN:
            raise DutyNotOpen(duty)
        facts = {
            "done_on": seen.done_on,
            "valid_until": seen.valid_until,
            "number": seen.number.strip(),
            "note": seen.note.strip(),
            "evidence": proof,
        }
        written.append(
            rows.put(
                DutyDone(duty=duty, by=actor, at=now),
                facts,
                actor=actor,
                verb="record duty done",
                now=now,
            )
        )
        _close(duty, now)
        if duty.rule_id is None:
            _follow_by_hand(duty, seen, now)
    # What a rule asks for next is opened with all else that it asks for.
    asked = {duty.rule_id for duty in held if duty.rule_id is not None}
    if asked:
        duty_turns.work_out(now=now, rules=asked)
    return written


@transaction.atomic
def set_aside(*, done: DutyDone, why: str, actor: Person, now: datetime) -> DutyDone:
    """Take back what was written down by mistake: it counts for nothing, and stays to be seen.

    Its turn is open again and the one that followed falls away; but not where a later turn was
    done, from which the next one is reckoned. Raises Unacceptable, NotAllowed.
    """
    if actor.pk != done.by_id and not actor.has_role(Role.OWNER):
        raise NotAllowed(f"{done}: only {done.by} or an owner takes this back")
    said = why.strip()
    if not said:
        message = "say why it is taken back"
        raise Unacceptable(message, fields={"why": message})
    lock.take()
    done.refresh_from_db()
    if done.set_aside_at is not None:
        return done
    changes = {"set_aside_at": now, "set_aside_by": actor, "set_aside_why": said}
    rows.put(done, changes, actor=actor, verb="set duty done aside", now=now, reason=said)
    duty = Duty.objects.select_for_update(of=("self",)).get(pk=done.duty_id)
    same = Duty.objects.filter(rule=duty.rule_id, site=duty.site_id, machine=duty.machine_id)
    if duty.rule_id is None:
        same = same.filter(title=duty.title, opened_at__gte=done.at)
    if DutyDone.objects.filter(duty__in=same, set_aside_at__isnull=True, pk__gt=done.pk).exists():
        duty.state, duty.changed_at = Duty.State.FELL_AWAY, now
        duty.sequence += 1
        duty.save()
        return done
    for later in same.filter(state=Duty.State.OPEN):
        later.state, later.closed_at, later.changed_at = Duty.State.FELL_AWAY, now, now
        later.sequence += 1
        later.save()
    duty.state, duty.closed_at, duty.changed_at = Duty.State.OPEN, None, now
    duty.sequence += 1
    duty.save()
    return done


@transaction.atomic
def save_duty(
    *, changes: Mapping[str, Any], actor: Person, now: datetime, duty: Duty | None = None
) -> Duty:
    """Write down a duty that no rule asks for, or change an open one: its day, its owner.

    Raises Unacceptable, DutyNotOpen.
    """
    require_owner(changes.get("owner"))
    if duty is None:
        row = Duty(opened_at=now, changed_at=now, because=BY_HAND)
        return rows.put(row, changes, actor=actor, verb="add duty", now=now)
    lock.take()
    held = Duty.objects.select_for_update(of=("self",)).get(pk=duty.pk)
    if held.state != Duty.State.OPEN:
        raise DutyNotOpen(held)
    told = dict(changes)
    if "due_on" in told and told["due_on"] != held.due_on:
        told["because"] = f"moved by {actor}"
        # Another day is another reminder.
        told |= {"reminded_at": None, "late_told_at": None}
    told |= {"changed_at": now, "sequence": held.sequence + 1}
    return rows.put(held, told, actor=actor, verb="change duty", now=now)


@transaction.atomic
def drop(*, duty: Duty, why: str, actor: Person, now: datetime) -> Duty:
    """A duty that somebody wrote down by hand is not owed after all. One of a rule is the rule's:
    it falls away when the rule is no longer in use. Raises Unacceptable, DutyNotOpen."""
    said = why.strip()
    if not said:
        raise Unacceptable("say why it is not owed", fields={"why": "say why it is not owed"})
    if duty.rule_id is not None:
        message = f"{duty} comes of the rule {duty.rule}; take the rule out of use instead"
        raise Unacceptable(message, fields={"duty": message})
    held = Duty.objects.select_for_update(of=("self",)).get(pk=duty.pk)
    if held.state != Duty.State.OPEN:
        raise DutyNotOpen(held)
    changes = {
        "state": Duty.State.FELL_AWAY,
        "closed_at": now,
        "changed_at": now,
        "sequence": held.sequence + 1,
    }
    return rows.put(held, changes, actor=actor, verb="drop duty", now=now, reason=said)


def _close(duty: Duty, now: datetime) -> None:
    duty.state, duty.closed_at, duty.changed_at = Duty.State.DONE, now, now
    duty.sequence += 1
    duty.save(update_fields=["state", "closed_at", "changed_at", "sequence", "updated_at"])


def _follow_by_hand(duty: Duty, seen: Seen, now: datetime) -> None:
    """The next turn of a duty that no rule asks for, where it comes again."""
    turn = next_turn(
        done_on=seen.done_on,
        was_due=duty.due_on,
        valid_until=seen.valid_until,
        every_months=duty.every_months,
        month_day="",
    )
    if turn is None:
        return
    Duty.objects.create(**_kept(duty), **_from(turn), opened_at=now, changed_at=now)


def _kept(duty: Duty) -> dict[str, Any]:
    names = (
        *("kind", "subject", "site", "machine", "title", "authority", "citation", "status"),
        *("every_months", "notice_days", "owner"),
    )
    return {name: getattr(duty, name) for name in names}


def _from(turn: Turn) -> dict[str, Any]:
    return {"due_on": turn.on, "because": turn.because[:200]}


def _require_dates(seen: Seen, now: datetime) -> None:
    today = now.astimezone(Business.the().time_zone).date()
    if seen.done_on > today:
        raise _refused("done_on", f"{seen.done_on} is still to come; give when it was done")
    if seen.valid_until is None:
        return
    if seen.valid_until < seen.done_on:
        raise _refused("valid_until", f"it cannot end before {seen.done_on}, when it was done")
    if seen.valid_until > seen.done_on + LONGEST:
        raise _refused("valid_until", "no paper holds for more than ten years; look again")


def _refused(field: str, message: str) -> Unacceptable:
    return Unacceptable(f"duty: {message}", fields={field: message})
