"""A plan as the computation gives it, written down with its reasons and its independent score."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from people import audit
from people.models import Person
from service.compute.routing.reasons import why
from service.compute.routing.results import Plan, PlannedRun, Reason, Score
from service.compute.routing.scoring import score

from .gathering import Candidate, Question
from .models import DayPlan, PlannedMachine, Run, RunAssumptions, Stop
from .ticketed import reasons


@transaction.atomic
def write_plan(
    *,
    question: Question,
    found: Plan,
    digest: str,
    week_of: date | None,
    actor: Person | None,
    now: datetime,
    elsewhere: Mapping[str, date] | None = None,
) -> DayPlan:
    """Write a draft: its runs and stops, and for each machine why it is in or out."""
    judged = score(question.problem, found)
    told = why(question.problem, found)
    plan = DayPlan.objects.create(
        date=question.day.date,
        week_of=week_of,
        seed=question.problem.seed,
        inputs_digest=digest,
        inputs=_inputs(question, now),
        score=score_said(judged),
        made_at=now,
        made_by=actor,
    )
    metres = {run.vehicle: run.drive_m for run in judged.runs}
    for run in found.runs:
        _write_run(plan, question, run, metres.get(run.vehicle, 0), told)
    PlannedMachine.objects.bulk_create(
        [
            *(
                _in_or_out(plan, question, one, told[name], (elsewhere or {}).get(name))
                for name, one in question.candidates.items()
            ),
            *(
                PlannedMachine(
                    plan=plan,
                    machine=one.machine,
                    included=False,
                    reasons=[{"code": one.code, "said": one.said}],
                    prize_minor=0,
                    service_minutes=0,
                )
                for one in question.left_out
            ),
        ]
    )
    audit.record(
        actor=actor, verb="plan day", row=plan, now=now, after={"score": plan.score["gain_minor"]}
    )
    return plan


def score_said(judged: Score) -> dict[str, Any]:
    """The evaluator's figures: minutes, kilometres, money in minor units."""
    return {
        "runs": len(judged.runs),
        "stops": sum(run.stops for run in judged.runs),
        "drive_minutes": _minutes(judged.drive_s),
        "work_minutes": _minutes(judged.work_s),
        "overtime_minutes": _minutes(judged.overtime_s),
        "wait_minutes": _minutes(sum(run.wait_s for run in judged.runs)),
        "service_minutes": _minutes(sum(run.service_s for run in judged.runs)),
        "drive_km": round(judged.drive_m / 1000, 1),
        "cost_minor": judged.cost,
        "saved_minor": judged.prizes,
        "left_minor": judged.left_prizes,
        "gain_minor": judged.gain,
        "faults": [asdict(fault) for fault in judged.faults],
    }


def reasons_said(
    one: Candidate, reason: Reason, other_day: date | None = None
) -> list[dict[str, Any]]:
    """Why a machine is in or out, most telling first, each with its code, words and figures."""
    found: list[dict[str, Any]] = [*must_said(one)]
    found.append(
        {
            "code": str(reason.because),
            "said": reason.detail,
            "rules": [str(rule) for rule in reason.rules],
        }
    )
    if other_day is not None:
        found.append({"code": "another_day", "said": f"It is visited on {other_day}."})
    found.append(
        {
            "code": "at_stake",
            # The run sheet says it, and a driver carries that: no amount in the words.
            "said": f"{one.need.units_at_stake:.1f} units are lost "
            f"if nobody comes before {one.next_chance}.",
            "units": round(one.need.units_at_stake, 2),
            "minor": one.need.prize_minor,
            "next_chance": one.next_chance.isoformat(),
            "basis": dict(one.need.basis),
        }
    )
    return found


def must_said(one: Candidate) -> list[dict[str, Any]]:
    """Why it may not be left out, and the tickets that the visit sees to, with their keys."""
    return [
        *reasons(one.asked.tickets),
        *({"code": m.code, "said": m.said} for m in one.must if m.code != "ticket"),
    ]


def _inputs(question: Question, now: datetime) -> dict[str, Any]:
    assumed = audit.values(RunAssumptions.the())
    return {
        "as_of": now.isoformat(),
        **question.assumed,
        "assumptions": {k: v for k, v in assumed.items() if k not in {"id", "updated_at"}},
        "iterations": question.problem.iterations,
        "closed": question.duty.closed,
        "drivers": [
            {"driver": str(one.profile), "vehicle": str(one.vehicle)}
            for one in question.drivers.values()
        ],
        "off": [{"driver": str(one.profile), "why": one.why} for one in question.duty.off],
    }


def _write_run(
    plan: DayPlan,
    question: Question,
    planned: PlannedRun,
    metres: int,
    told: Mapping[str, Reason],
) -> Run:
    duty, day = question.drivers[planned.vehicle], question.day
    run = Run.objects.create(
        plan=plan,
        date=plan.date,
        driver=duty.profile.person,
        vehicle=duty.vehicle,
        depot=duty.profile.depot,
        planned_start=day.moment(planned.starts_s),
        planned_end=day.moment(planned.ends_s),
        shift_ends=duty.ends_at,
        planned_metres=metres,
    )
    Stop.objects.bulk_create(
        stop_row(
            run,
            number,
            question.candidates[one.stop],
            reasons_said(question.candidates[one.stop], told[one.stop]),
            arrives=day.moment(one.begins_s),
            leaves=day.moment(one.leaves_s),
            question=question,
        )
        for number, one in enumerate(planned.stops, start=1)
    )
    return run


def stop_row(
    run: Run,
    sequence: int,
    one: Candidate,
    because: list[dict[str, Any]],
    *,
    arrives: datetime,
    leaves: datetime,
    question: Question,
) -> Stop:
    """A stop of a run, not yet saved."""
    load = question.problem.stop_named[one.machine.asset_tag].load
    return Stop(
        run=run,
        sequence=sequence,
        machine=one.machine,
        site=one.site,
        planned_arrive=arrives,
        planned_leave=leaves,
        service_minutes=Decimal(str(one.service_minutes)),
        must_go=bool(one.must),
        reasons=because,
        prize_minor=one.need.prize_minor,
        load_volume_ml=load.volume_ml,
        load_weight_g=load.weight_g,
        load_cases=load.cases,
    )


def _in_or_out(
    plan: DayPlan,
    question: Question,
    one: Candidate,
    reason: Reason,
    other_day: date | None,
) -> PlannedMachine:
    load = question.problem.stop_named[reason.stop].load
    detour_s = reason.detour_s
    return PlannedMachine(
        plan=plan,
        machine=one.machine,
        included=reason.visited,
        must_go=bool(one.must),
        reasons=reasons_said(one, reason, None if reason.visited else other_day),
        prize_minor=one.need.prize_minor,
        units_at_stake=Decimal(f"{one.need.units_at_stake:.2f}"),
        costs_minutes=None if detour_s is None else Decimal(f"{detour_s / 60:.1f}"),
        costs_minor=reason.detour_cost,
        service_minutes=Decimal(str(one.service_minutes)),
        load_volume_ml=load.volume_ml,
        load_weight_g=load.weight_g,
        load_cases=load.cases,
    )


def _minutes(seconds: int) -> float:
    return round(seconds / 60, 1)
