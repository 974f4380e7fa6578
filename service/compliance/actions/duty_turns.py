"""Which duties are owed now: worked out from the rules, from where machines stand, and from what
was done."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from people import bulk
from people.models import Business

from ..models import Duty, DutyDone, DutyRule
from ..queries.subjects import Key, Subjects
from ..turns import Turn, first_turn, next_turn
from . import lock


@dataclass(frozen=True)
class WorkedOut:
    """How many turns were opened, fell away, and stood as they were."""

    opened: int
    fell_away: int
    stood: int


@transaction.atomic
def work_out(*, now: datetime, rules: Iterable[int] | None = None) -> WorkedOut:
    """Open the turns that rules (keys; None: all) ask for, and take away those they do not.

    Asked twice it changes nothing the second time. What is owed follows from what is recorded, so
    it leaves no audit entry. A fixed number of queries.
    """
    lock.take()
    today = now.astimezone(Business.the().time_zone).date()
    asked = DutyRule.objects.order_by("pk")
    stands = Duty.objects.filter(state=Duty.State.OPEN, rule__isnull=False)
    if rules is not None:
        keys = list(rules)
        asked, stands = asked.filter(pk__in=keys), stands.filter(rule__in=keys)
    by_rule = {rule.pk: rule for rule in asked}
    open_ones: dict[Key, Duty] = {
        (row.rule_id or 0, row.site_id, row.machine_id): row for row in stands
    }
    last = _last_done(by_rule)
    wanted = Subjects.of(by_rule.values()).keys() if by_rule else []
    fresh: list[Duty] = []
    stood = 0
    for key in wanted:
        if open_ones.pop(key, None) is not None:
            stood += 1
            continue
        rule = by_rule[key[0]]
        turn = _turn(rule, last.get(key), today)
        if turn is not None:
            fresh.append(opened(rule, key, turn, now))
    fallen = list(open_ones.values())
    for row in fallen:
        row.state, row.closed_at, row.changed_at = Duty.State.FELL_AWAY, now, now
        row.sequence += 1
    bulk.write(fresh)
    Duty.objects.bulk_update(fallen, ["state", "closed_at", "changed_at", "sequence"])
    return WorkedOut(len(fresh), len(fallen), stood)


def opened(rule: DutyRule, key: Key, turn: Turn, now: datetime) -> Duty:
    """The turn of a rule for the business, a site or a machine; not written yet."""
    _, site, machine = key
    return Duty(
        rule=rule,
        kind=rule.kind,
        subject=rule.subject,
        site_id=site,
        machine_id=machine,
        title=rule.title,
        authority=rule.authority,
        citation=rule.citation,
        status=rule.status,
        every_months=rule.every_months,
        notice_days=rule.notice_days,
        due_on=turn.on,
        because=turn.because[:200],
        owner_id=rule.owner_id,
        opened_at=now,
        changed_at=now,
        updated_at=now,
    )


def _turn(rule: DutyRule, last: DutyDone | None, today: date) -> Turn | None:
    if last is None:
        return first_turn(today=today, month_day=rule.month_day, notice_days=rule.notice_days)
    return next_turn(
        done_on=last.done_on,
        was_due=last.duty.due_on,
        valid_until=last.valid_until,
        every_months=rule.every_months,
        month_day=rule.month_day,
    )


def _last_done(rules: Iterable[int]) -> dict[Key, DutyDone]:
    """What was last done for each rule's business, site or machine. One query."""
    rows = (
        DutyDone.objects.filter(duty__rule__in=list(rules), set_aside_at__isnull=True)
        .select_related("duty")
        .order_by("duty__rule_id", "duty__site_id", "duty__machine_id", "-done_on", "-pk")
        .distinct("duty__rule_id", "duty__site_id", "duty__machine_id")
    )
    return {(one.duty.rule_id or 0, one.duty.site_id, one.duty.machine_id): one for one in rows}
