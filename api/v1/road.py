"""The road: a driver's day and what is done on it, one act at a time or a queue of them at once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api import errors, idempotency
from api.doors import Doors, gives, writes
from api.shapes import Shape
from fleet.machines.actions import changeovers
from fleet.machines.queries.gates import machine_for
from people.errors import Unacceptable
from people.models import Person
from service.compliance.queries.warnings import Warnings, warnings_at, with_warnings
from service.runs.actions import road
from service.runs.models import RoadAct, Run, Stop
from service.runs.queries import day, gates
from service.tickets.actions import told
from service.tickets.queries.gates import ticket_to_tell_of

from . import road_tickets as tickets
from .road_day import BatchIn, BatchOut, DayOut
from .road_shapes import (
    ActIn,
    ActOut,
    ArriveIn,
    BagIn,
    ChangeOverIn,
    EndIn,
    FillIn,
    PickIn,
    ReadIn,
    RemoveIn,
    RoadCountIn,
    SkipIn,
)
from .road_sheets import RunSheetOut
from .warning_shapes import OpenFoodLockOut, OpenRecallOut

Verb = RoadAct.Verb
Given = dict[str, Any]


@dataclass(frozen=True)
class Act:
    """How one verb is read and done; `do` gets what `given` left beside the two moments."""

    given: type[serializers.Serializer]
    do: Callable[..., road.Answer]
    of_run: bool = False


def _change_over(**given: Any) -> road.Answer:
    given["as_left"] = changeovers.AsLeft(**given["as_left"])
    given["removed"] = [changeovers.Removed(**one) for one in given["removed"]]
    return road.change_over(**given)


def _count(lines: list[Given], **given: Any) -> road.Answer:
    return road.count(lines=[road.Counted(**line) for line in lines], **given)


def _fill(lines: list[Given], **given: Any) -> road.Answer:
    return road.fill(lines=[road.Filled(**line) for line in lines], **given)


def _remove(lines: list[Given], **given: Any) -> road.Answer:
    return road.remove(lines=[road.Removed(**line) for line in lines], **given)


def _pick(lines: list[Given], extra: list[Given], **given: Any) -> road.Answer:
    return road.pick(
        lines=[road.Picked(**line) for line in lines],
        extra=[road.Extra(**one) for one in extra],
        **given,
    )


def _end(truck: list[Given] | None, **given: Any) -> road.Answer:
    found = None if truck is None else [road.OnTruck(**one) for one in truck]
    return road.end_day(truck=found, **given)


ACTS: Mapping[str, Act] = {
    Verb.PICK: Act(PickIn, _pick, of_run=True),
    Verb.START: Act(ActIn, road.start, of_run=True),
    Verb.ARRIVE: Act(ArriveIn, road.arrive),
    Verb.READ: Act(ReadIn, road.read),
    Verb.COUNT: Act(RoadCountIn, _count),
    Verb.REMOVE: Act(RemoveIn, _remove),
    Verb.FILL: Act(FillIn, _fill),
    Verb.CHANGE_OVER: Act(ChangeOverIn, _change_over),
    Verb.BAG: Act(BagIn, road.bag),
    Verb.LEAVE: Act(ActIn, road.leave),
    Verb.SKIP: Act(SkipIn, road.skip),
    Verb.END: Act(EndIn, _end, of_run=True),
}


def carry_out(
    verb: str, of: Run | Stop, given: Given, *, key: str, actor: Person, now: Any
) -> road.Answer:
    """Do one act of a validated body."""
    sent = road.Sent(key, given.pop("at"), given.pop("sent_at", None))
    whose = {"run": of} if isinstance(of, Run) else {"stop": of}
    return ACTS[verb].do(**whose, **given, sent=sent, actor=actor, now=now)


class WarningDoors(Doors):
    """Doors that say with an act at a machine what whoever stands there has to know."""

    def warned(self, acts: Sequence[tuple[Any, Given]]) -> list[Given]:
        """What acts answered, those at stops with the machine's lock and recalls of now. Three
        queries for all of them."""
        found = warnings_at({of.machine_id for of, _ in acts if isinstance(of, Stop)})
        return [
            result | self._said(found.get(of.machine_id, Warnings()))
            if isinstance(of, Stop)
            else result
            for of, result in acts
        ]

    def _said(self, told: Warnings) -> Given:
        lock = told.food_lock
        return {
            "food_lock": None if lock is None else self.shown(OpenFoodLockOut, lock),
            "recalls": self.shown(OpenRecallOut, told.recalls, many=True),
        }


class OnTheRoad(WarningDoors):
    """What the doors of runs and stops share."""

    def do(self, verb: str, of: Run | Stop, given: Given) -> Response:
        answer = carry_out(
            verb,
            of,
            given,
            key=idempotency.key_of(self.request),
            actor=self.person,
            now=self.now,
        )
        headers = {idempotency.REPLAYED: "true"} if answer.replayed else None
        (said,) = self.warned([(of, dict(answer.result))])
        return Response(said, headers=headers)


class RoadRuns(OnTheRoad):
    """A driver's own runs; the desk's are all."""

    described_by = Run

    @gives(RunSheetOut, summary="The whole run: stops, columns, loads, changeovers, the truck")
    def retrieve(self, request: Request, pk: int) -> Response:
        run = gates.run_for(self.person, pk)
        return Response(self.shown(RunSheetOut, with_warnings([day.sheet(run, now=self.now)])[0]))

    @writes(PickIn, ActOut, key="own", summary="What was picked for the truck")
    @action(detail=True, methods=["post"])
    def pick(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.PICK, gates.run_for(self.person, pk), given)

    @writes(ActIn, ActOut, key="own", summary="Leave for the day's stops")
    @action(detail=True, methods=["post"])
    def start(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.START, gates.run_for(self.person, pk), given)

    @writes(EndIn, ActOut, key="own", summary="End of the day, with the count of the truck")
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.END, gates.run_for(self.person, pk), given)


class RoadStops(OnTheRoad):
    """What is done at a machine."""

    described_by = Stop

    @writes(ArriveIn, ActOut, key="own", summary="Arrive at a machine")
    @action(detail=True, methods=["post"])
    def arrive(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.ARRIVE, gates.stop_to_act_on(self.person, pk), given)

    @writes(ReadIn, ActOut, key="own", summary="Link an audit read to the visit")
    @action(detail=True, methods=["post"])
    def read(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.READ, gates.stop_to_act_on(self.person, pk), given)

    @writes(RoadCountIn, ActOut, key="own", summary="Count columns as they were found")
    @action(detail=True, methods=["post"])
    def count(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.COUNT, gates.stop_to_act_on(self.person, pk), given)

    @writes(RemoveIn, ActOut, key="own", summary="Take products out, to the truck or to waste")
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.REMOVE, gates.stop_to_act_on(self.person, pk), given)

    @writes(FillIn, ActOut, key="own", summary="Fill columns from the truck")
    @action(detail=True, methods=["post"])
    def fill(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.FILL, gates.stop_to_act_on(self.person, pk), given)

    @writes(
        ChangeOverIn, ActOut, key="own", summary="Change a column over as planned, with as-left"
    )
    @action(detail=True, methods=["post"], url_path="change-over")
    def change_over(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.CHANGE_OVER, gates.stop_to_act_on(self.person, pk), given)

    @writes(BagIn, ActOut, key="own", summary="Bag the machine's cash under a seal; no amount")
    @action(detail=True, methods=["post"])
    def bag(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.BAG, gates.stop_to_act_on(self.person, pk), given)

    @writes(ActIn, ActOut, key="own", summary="Leave a machine")
    @action(detail=True, methods=["post"])
    def leave(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.LEAVE, gates.stop_to_act_on(self.person, pk), given)

    @writes(SkipIn, ActOut, key="own", summary="Pass a stop by, with the reason")
    @action(detail=True, methods=["post"])
    def skip(self, request: Request, pk: int, given: Given) -> Response:
        return self.do(Verb.SKIP, gates.stop_to_act_on(self.person, pk), given)


class DayAsked(Shape):
    date = serializers.DateField(
        required=False, help_text="Left out: today, where the business is."
    )


class Road(WarningDoors):
    """One's own day, and a queue of acts at once."""

    described_by = Run

    @gives(DayOut, query=DayAsked, summary="My day: the runs one drives, with all they need")
    @action(detail=False)
    def day(self, request: Request, asked: Mapping[str, Any]) -> Response:
        zone = self.shown_with["business"].time_zone
        when = asked.get("date") or self.now.astimezone(zone).date()
        sheets = [day.sheet(run, now=self.now) for run in day.my_runs(self.person, when)]
        runs = with_warnings(sheets)
        mine = tickets.my_tickets(self.person)
        return Response(self.shown(DayOut, {"date": when, "runs": runs, "tickets": mine}))

    @writes(
        BatchIn,
        BatchOut,
        atomic=False,
        key="none",
        summary="Replay a queue of acts: each has its own key and its own answer",
    )
    @action(detail=False, methods=["post"])
    def batch(self, request: Request, given: Given) -> Response:
        """Acts are done in the order given, each in a transaction of its own: one that is refused
        changes nothing and does not stop those after it. Sent again, what was done has no second
        effect and is answered alike."""
        done = [self._one(item) for item in given["acts"]]
        results = iter(self.warned([(of, one["result"]) for of, one in done if "result" in one]))
        return Response(
            {
                "answers": [
                    one | {"result": next(results)} if "result" in one else one for _, one in done
                ]
            }
        )

    def _one(self, item: Given) -> tuple[Any, Given]:
        """What an act was done to, and its answer."""
        of = None
        try:
            with transaction.atomic():
                of = self._of(item)
                answer = self._do(item, of)
        except Exception as error:
            refusal = errors.problem(error, {"request": self.request, "view": None})
            if refusal is None:
                raise
            return of, {
                "key": item["key"],
                "status": refusal.status_code,
                "replayed": False,
                "problem": refusal.data,
            }
        return of, {
            "key": item["key"],
            "status": 200,
            "replayed": answer.replayed,
            "result": answer.result,
        }

    def _do(self, item: Given, of: Any) -> road.Answer | told.Answer:
        verb = item["verb"]
        given = ACTS[verb].given if verb in ACTS else tickets.ACTS[verb].given
        shape = given(data=item["body"], context=self.shown_with)
        shape.is_valid(raise_exception=True)
        do: Any = carry_out if verb in ACTS else tickets.carry_out
        return do(
            verb,
            of,
            dict(shape.validated_data),
            key=item["key"],
            actor=self.person,
            # Each is received now; a long queue must not book its last act in the past.
            now=timezone.now(),
        )

    def _of(self, item: Given) -> Any:
        """What the act is done to, through its gatekeeper."""
        verb = item["verb"]
        if verb in ACTS:
            name = "run" if ACTS[verb].of_run else "stop"
        else:
            name = "machine" if tickets.ACTS[verb].of_machine else "ticket"
        if item[name] is None:
            message = f"{verb} needs its {name}"
            raise Unacceptable(message, fields={name: message})
        return GATES[name](self.person, item[name])


GATES: Mapping[str, Callable[[Person, int], Any]] = {
    "run": gates.run_for,
    "stop": gates.stop_to_act_on,
    "machine": machine_for,
    "ticket": ticket_to_tell_of,
}
