"""Findings written: new ones opened, standing ones brought up to date, the others recovered."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet.compute.cautions import cautions_for
from people import audit, bulk
from people.models import AuditEntry
from service.compute.watch.causes import LikelyCause, rank
from service.compute.watch.signs import signs_of
from service.compute.watch.suspicion import Kind

from ..experience import Experience
from ..gathering.facts import Around
from ..models import Finding, Look
from ..seen import Seen
from ..sifting import Sifted

_KEPT = (
    "last_seen_at",
    "looks",
    "look",
    "since",
    "product",
    "strength",
    "strength_said",
    "said",
    "evidence",
    "causes",
    "signs",
    "updated_at",
)


@dataclass(frozen=True)
class Written:
    opened: tuple[Finding, ...]
    recovered: int


def write(sifted: Sifted, *, look: Look, now: datetime) -> Written:
    """Write what stands, each with its likeliest causes. In the caller's transaction.

    Queries do not grow with findings.
    """
    around = Around.of(sifted.stand, now=look.started_at) if sifted.stand else None
    experience = Experience.of({one.kind for one in sifted.stand})
    kinds = experience.machine_kinds([one.machine for one in sifted.stand])
    opened: list[Finding] = []
    kept: list[Finding] = []
    for seen in sifted.stand:
        assert around is not None  # noqa: S101 - there is something that stands
        facts = around.facts(seen)
        causes = rank(Kind(seen.kind), facts, **experience.about(seen, kinds.get(seen.machine, 0)))
        row = sifted.live.get(seen.place)
        if row is None:
            row = Finding(
                machine_id=seen.machine,
                column_id=seen.column,
                kind=seen.kind,
                key=seen.key,
                opened_at=now,
                looks=0,
            )
            opened.append(row)
        else:
            kept.append(row)
        _fill(row, seen, causes, look, now)
        row.signs = signs_of(facts)
    bulk.write(opened)
    Finding.objects.bulk_update(kept, _KEPT, batch_size=500)
    gone = _gone(sifted)
    for row in gone:
        row.state, row.recovered_at, row.updated_at = Finding.State.RECOVERED, now, now
        row.recovered_said = "the numbers are as usual again"
    Finding.objects.bulk_update(
        gone, ["state", "recovered_at", "recovered_said", "updated_at"], batch_size=500
    )
    _audit(opened, "find", now)
    _audit(gone, "finding recovered", now)
    return Written(tuple(opened), len(gone))


def _fill(
    row: Finding, seen: Seen, causes: Sequence[LikelyCause], look: Look, now: datetime
) -> None:
    # What went wrong once began when it was first thought to have.
    row.since = row.since or seen.since
    row.product_id = seen.product
    row.last_seen_at = max(now, row.opened_at)
    row.looks += 1
    row.look = look
    row.strength, row.strength_said, row.said = seen.strength, seen.strength_said, seen.said
    row.evidence = {"numbers": seen.numbers, "chart": seen.chart}
    row.causes = [_told(cause) for cause in causes]
    row.updated_at = now


def _told(cause: LikelyCause) -> dict[str, Any]:
    return {
        "code": cause.code.value,
        "words": cause.words,
        "weight": round(cause.weight, 4),
        "why": list(cause.why),
        "check_first": cause.check_first,
        "cautions": [] if cause.work is None else [one.text for one in cautions_for(cause.work)],
        "cases": cause.cases,
        "cases_in_all": cause.cases_in_all,
        "cases_said": cause.cases_said,
    }


def _gone(sifted: Sifted) -> list[Finding]:
    """Findings that were live at the machines looked at, and that nothing tells of any more."""
    there = {one.place for one in sifted.stand}
    return [row for place, row in sifted.live.items() if place not in there]


def _audit(rows: Iterable[Finding], verb: str, now: datetime) -> None:
    bulk.write(
        [
            AuditEntry(
                **audit.entry_values(
                    actor=None,
                    verb=verb,
                    row=row,
                    now=now,
                    after={"state": row.state, "strength": row.strength, "said": row.said},
                )
            )
            for row in rows
        ]
    )
