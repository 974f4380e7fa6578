"""How good the watch is, by what its findings turned out to be.

Only what somebody looked into tells: a finding that nobody acted on says nothing of the watch. With
few of them the range of what they allow is told beside the share, and it is wide.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import Count, Exists, OuterRef, Q

from service.compute.reliability import Share, Typical, share, typical
from service.tickets.models import Ticket, WorkDone

from ..models import Finding, Look, Verdict

#: Symptoms of tickets that a finding of a kind could have told before the customer did.
TOLD_AS: Final[dict[str, tuple[str, ...]]] = {
    Finding.Kind.SILENT: ("silent", "nothing_came", "sold_out_full"),
    Finding.Kind.TWO_FOR_ONE: ("two_for_one",),
    Finding.Kind.PRICE: ("wrong_price",),
    Finding.Kind.WARM: ("warm",),
}
#: Sources of tickets that people reported before the watch did.
PEOPLE: Final = (
    Ticket.Source.PUBLIC,
    Ticket.Source.HOST,
    Ticket.Source.DRIVER,
    Ticket.Source.DESK,
)


@dataclass(frozen=True)
class KindQuality:
    """What became of one kind's findings that opened in a time.

    `by_itself` recovered before anybody looked into it. `right`: of those with a clear verdict, the
    part that was true; `caught`: of the true faults that tickets told of, the part that the watch
    had found before; `delay`: days from when it went wrong until it was found. None: no cases.
    """

    kind: str
    opened: int
    true: int
    false: int
    unclear: int
    live: int
    by_itself: int
    missed: int | None
    right: Share | None
    caught: Share | None
    delay: Typical | None

    @property
    def words(self) -> str:
        return Finding.Kind(self.kind).label


@dataclass(frozen=True)
class Quality:
    since: datetime
    until: datetime
    kinds: tuple[KindQuality, ...]
    whole: KindQuality | None


def quality(*, now: datetime, days: int) -> Quality:
    """How good the watch was at what opened in the last days. Four queries."""
    since = now - timedelta(days=days)
    opened = _opened(since, now)
    delays = _delays(since, now)
    missed = _missed(since, now)
    kinds = tuple(
        _of(kind, opened[kind], delays[kind], missed.get(kind))
        for kind in Finding.Kind.values
        if kind in opened or missed.get(kind)
    )
    return Quality(since, now, kinds, _whole(kinds, delays) if kinds else None)


def _opened(since: datetime, until: datetime) -> "dict[str, dict[str, int]]":
    said = Verdict.Said
    rows = (
        Finding.objects.filter(opened_at__gt=since, opened_at__lte=until)
        .order_by()
        .values_list("kind")
        .annotate(
            opened=Count("pk"),
            true=Count("pk", filter=Q(verdict__said=said.TRUE)),
            false=Count("pk", filter=Q(verdict__said=said.FALSE)),
            unclear=Count("pk", filter=Q(verdict__said=said.UNCLEAR)),
            live=Count(
                "pk",
                filter=Q(verdict__isnull=True, state__in=["open", "ticketed"]),
            ),
            by_itself=Count("pk", filter=Q(verdict__isnull=True, state="recovered")),
        )
    )
    found: dict[str, dict[str, int]] = defaultdict(lambda: dict.fromkeys(_COUNTED, 0))
    for kind, *figures in rows:
        found[kind] = dict(zip(_COUNTED, figures, strict=True))
    return found


_COUNTED: Final = ("opened", "true", "false", "unclear", "live", "by_itself")


def _delays(since: datetime, until: datetime) -> dict[str, list[float]]:
    rows = Verdict.objects.filter(
        said=Verdict.Said.TRUE,
        delay_days__isnull=False,
        finding__opened_at__gt=since,
        finding__opened_at__lte=until,
    )
    found: dict[str, list[float]] = defaultdict(list)
    for kind, days in rows.order_by("pk").values_list("finding__kind", "delay_days"):
        found[kind].append(days or 0.0)
    return found


def _missed(since: datetime, until: datetime) -> dict[str, int]:
    """True faults that people reported of machines that the watch had nothing on then.

    What was told before it looked over the fleet for the first time it could not have found.
    """
    before = Finding.objects.filter(
        machine=OuterRef("ticket__machine"),
        opened_at__lte=OuterRef("ticket__reported_at"),
    ).filter(Q(recovered_at__isnull=True) | Q(recovered_at__gt=OuterRef("ticket__reported_at")))
    looks = Look.objects.filter(
        state=Look.State.DONE,
        over__in=(Look.Over.NIGHT, Look.Over.ASKED),
        started_at__lte=OuterRef("ticket__reported_at"),
    )
    rows = WorkDone.objects.filter(
        Exists(looks),
        ticket__state=Ticket.State.CLOSED,
        ticket__source__in=PEOPLE,
        ticket__reported_at__gt=since,
        ticket__reported_at__lte=until,
        cause__nothing_wrong=False,
    ).exclude(cause__code="other")
    found = {}
    for kind, symptoms in TOLD_AS.items():
        found[kind] = rows.filter(
            ~Exists(before.filter(kind=kind)), ticket__symptom__code__in=symptoms
        )
    counted: dict[str, Any] = WorkDone.objects.aggregate(
        **{
            kind: Count("pk", filter=Q(pk__in=missed.order_by().values("pk")))
            for kind, missed in found.items()
        }
    )
    return {str(kind): number for kind, number in counted.items()}


def _of(
    kind: str, opened: dict[str, int], delays: Sequence[float], missed: int | None
) -> KindQuality:
    clear = opened["true"] + opened["false"]
    faults = opened["true"] + (missed or 0)
    return KindQuality(
        kind=kind,
        missed=missed,
        right=share(opened["true"], clear) if clear else None,
        caught=share(opened["true"], faults) if faults and missed is not None else None,
        delay=typical(delays, unit="days") if delays else None,
        **opened,
    )


def _whole(kinds: Sequence[KindQuality], delays: dict[str, list[float]]) -> KindQuality:
    opened = {name: sum(getattr(one, name) for one in kinds) for name in _COUNTED}
    every = [days for those in delays.values() for days in those]
    # What was missed is known of some kinds only; over all of them it would flatter.
    return _of("", opened, every, None)
