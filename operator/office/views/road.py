"""A driver's own pages: the day, a stop, and each act; made for a thumb and a bad signal.

An act sent by script is answered as JSON, so that a queue in the browser can send it late; without
a script the same form posts and the page comes back.
"""

import uuid
from collections.abc import Callable, Mapping
from datetime import timedelta
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.queries.gates import changeover_for
from fleet.machines.queries.sheets import sheet as changeover_sheet
from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.models import AuditRead
from office.doors import PersonRequest, sent, tried
from office.forms.acts import ActForm
from office.forms.changeovers import Strays
from office.forms.reads import UploadForm
from office.forms.road import RUN_ACTS, STOP_ACTS, EndForm, PickForm, RoadAsLeftForm
from office.forms.road_columns import ColumnsForm
from office.road_doors import as_answer, by_script, carry_out, road_page
from people.errors import NotFound
from people.models import Business
from service.compliance.queries.warnings import Warnings, warnings_at, with_warnings
from service.runs.actions import road
from service.runs.models import Run, Stop
from service.runs.queries import day, gates
from service.runs.queries import load as load_list
from service.runs.queries.holdings import truck_now
from service.tickets.queries import listing
from service.upkeep.queries.due import near

from .road_tickets import open_at

AHEAD = timedelta(days=6)
MOST_TICKETS = 100
DO: Mapping[str, Callable[..., road.Answer]] = {
    "pick": road.pick,
    "start": road.start,
    "end": road.end_day,
    "arrive": road.arrive,
    "count": road.count,
    "remove": road.remove,
    "fill": road.fill,
    "bag": road.bag,
    "leave": road.leave,
    "skip": road.skip,
}


def my_day(request: PersonRequest) -> HttpResponse:
    """The runs of today, the tickets to see to, and when the next run is."""
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    runs = list(day.my_runs(request.user, today))
    # A night's work may reach over midnight: what is still out is shown until it has ended.
    late = gates.runs_seen_by(request.user).filter(
        driver=request.user, agreed=True, state=Run.State.OUT, date__lt=today
    )
    to_see = list(listing.to_see_to(request.user)[:MOST_TICKETS])
    context = {
        "today": today,
        "sheets": [
            _with_progress(one)
            for one in with_warnings(day.sheet(run, now=now) for run in [*late, *runs])
        ],
        "tickets": [one for one in to_see if one.given_to_id == request.user.pk],
        "nobodys": sum(one.given_to_id is None for one in to_see),
        "now": now,
        "coming": gates.runs_seen_by(request.user)
        .filter(driver=request.user, agreed=True, date__gt=today, date__lte=today + AHEAD)
        .order_by("date", "pk"),
    }
    return road_page(request, "office/road/day.html", context)


def run_page(request: PersonRequest, pk: int) -> HttpResponse:
    """One run: its stops in order, the truck, the start and the end."""
    return _run_page(request, gates.run_for(request.user, pk))


def run_act(request: PersonRequest, pk: int, verb: str) -> HttpResponse:
    run = gates.run_for(request.user, pk)
    form = _run_form(run, verb, request.POST)
    return _act(request, form, run=run)


def load(request: PersonRequest, pk: int) -> HttpResponse:
    """What goes on the truck, to be ticked off while it is picked."""
    return _load_page(request, gates.run_for(request.user, pk))


def stop_page(request: PersonRequest, pk: int) -> HttpResponse:
    """One machine: what to do there, in the order it is done."""
    return _stop_page(request, gates.stop_for(request.user, pk))


def stop_act(request: PersonRequest, pk: int, verb: str) -> HttpResponse:
    stop = gates.stop_for(request.user, pk)
    form = _stop_forms(_stop_sheet(stop), request.POST, verb)[verb]
    return _act(request, form, stop=stop)


def read(request: PersonRequest, pk: int) -> HttpResponse:
    """Hand in the file read from the machine, and link it to the visit."""
    stop = gates.stop_for(request.user, pk)
    form = UploadForm(request.POST, request.FILES)
    if form.is_valid():
        now = timezone.now()
        outcomes = receive(
            files=[ReceivedFile(one.name, one.read()) for one in form.cleaned_data["files"]],
            source=AuditRead.Source.OFFICE,
            actor=request.user,
            now=now,
            machine=stop.machine,
        )
        for outcome in outcomes:
            if outcome.read_id is None:
                messages.error(request, f"{outcome.name}: {outcome.said}")
                continue
            kept = AuditRead.objects.defer("raw").get(pk=outcome.read_id)
            done = tried(
                form,
                road.read,
                stop=stop,
                read=kept,
                # By our clock: the machine's own may be far off, and would move the visit with it.
                sent=road.Sent(str(uuid.uuid4()), now),
                actor=request.user,
                now=now,
            )
            if done is not None:
                messages.success(request, f"{outcome.name}: {outcome.said}")
        if not form.errors:
            return redirect("office:road-stop", pk)
    return _stop_page(request, stop, upload=form)


def change_over(request: PersonRequest, pk: int, changeover: int) -> HttpResponse:
    """How a column was left, on a phone at the machine; what came out goes onto the truck."""
    stop = gates.stop_for(request.user, pk)
    asked = changeover_for(request.user, changeover, write=True)
    if asked.column.machine_id != stop.machine_id:
        raise NotFound(f"there is no changeover {changeover} at {stop.machine}")
    posted = request.POST if request.method == "POST" else None
    strays = Strays(posted)
    if posted and strays.asked:
        form = RoadAsLeftForm(initial=posted.dict(), changeover=asked)
    else:
        form = RoadAsLeftForm(posted, changeover=asked)
    before = asked.from_set_up
    valid = [form.is_valid(), strays.are_valid(before.product if before else None)]
    if all(valid):
        given = form.given()
        given["removed"] = [*given["removed"], *strays.removed()]
        done = carry_out(request, form, partial(road.change_over, stop=stop, **given))
        if done is not None and not by_script(request):
            messages.success(request, f"Column {asked.column.position.label}: it is changed over.")
            return redirect("office:road-stop", pk)
    if posted and by_script(request):
        return as_answer(form, *strays.forms)
    context = {
        "stop": stop,
        "changeover": asked,
        "sheet": changeover_sheet(asked),
        "form": form,
        "strays": strays,
    }
    status = sent(form, *strays.forms)
    return road_page(request, "office/road/change_over.html", context, status=status)


def worker(request: PersonRequest) -> HttpResponse:
    """The script that keeps a driver's pages readable without a signal; it stands under the
    addresses it serves, as browsers ask."""
    kept = render(request, "office/road/worker.js", content_type="text/javascript")
    kept["Cache-Control"] = "no-cache"
    return kept


def _act(
    request: PersonRequest, form: ActForm, *, run: Run | None = None, stop: Stop | None = None
) -> HttpResponse:
    if form.is_valid():
        whose: dict[str, Any] = {"run": run} if run is not None else {"stop": stop}
        carry_out(request, form, partial(DO[form.verb], **whose, **form.given()))
    if by_script(request):
        return as_answer(form)
    if form.errors:
        if stop is not None:
            return _stop_page(request, stop, form=form)
        return _run_page(request, run or gates.run_for(request.user, 0), form=form)
    messages.success(request, f"{form.said}: kept.")
    if run is not None:
        return redirect("office:road-run", run.pk)
    leaves = form.verb in {"leave", "skip"}
    where = stop.run_id if stop is not None and leaves else stop.pk if stop is not None else 0
    return redirect("office:road-run" if leaves else "office:road-stop", where)


def _run_page(request: PersonRequest, run: Run, form: ActForm | None = None) -> HttpResponse:
    if form is not None and form.verb == PickForm.verb:
        return _load_page(request, run, form)
    forms = {verb: _run_form(run, verb) for verb in ("start", "end")}
    if form is not None:
        forms[form.verb] = form
    context = {
        "sheet": _with_progress(with_warnings([day.sheet(run, now=timezone.now())])[0]),
        "run": run,
        "forms": forms,
        "may_end": run.state == Run.State.OUT,
    }
    status = 200 if form is None else sent(form)
    return road_page(request, "office/road/run.html", context, status=status)


def _load_page(request: PersonRequest, run: Run, form: ActForm | None = None) -> HttpResponse:
    shown = form or _run_form(run, PickForm.verb)
    context = {"run": run, "form": shown, "products": load_list.by_product(run)}
    return road_page(request, "office/road/load.html", context, status=sent(shown))


def _run_form(run: Run, verb: str, posted: Any = None) -> ActForm:
    if verb not in RUN_ACTS:
        raise NotFound(f"there is no act {verb} of a run")
    more: dict[str, Any] = {}
    if verb == EndForm.verb:
        more["truck"] = truck_now(run)
    if verb == PickForm.verb:
        more["lines"] = load_list.lines_of(run)
    return RUN_ACTS[verb](posted, **more)


def _stop_page(
    request: PersonRequest,
    stop: Stop,
    form: ActForm | None = None,
    upload: UploadForm | None = None,
) -> HttpResponse:
    found = _stop_sheet(stop)
    forms = _stop_forms(found)
    if form is not None:
        forms[form.verb] = form
    warned = warnings_at([stop.machine_id]).get(stop.machine_id, Warnings())
    context = {
        "stop": stop,
        "visit": getattr(stop, "visit", None),
        "found": found,
        "forms": forms,
        "upload": upload or UploadForm(),
        "next": _next(stop),
        "tickets": open_at(request.user, stop.machine),
        "upkeep": near([stop.machine_id], stop.run.date).get(stop.machine_id, []),
        "food_lock": warned.food_lock,
        "recalls_there": warned.recalls,
        "now": timezone.now(),
        "acts": stop.acts.exclude(verb="arrive").order_by("client_at", "pk"),
    }
    shown = [one for one in (form, upload) if one is not None]
    return road_page(request, "office/road/stop.html", context, status=sent(*shown))


def _stop_forms(found: Mapping[str, Any], posted: Any = None, verb: str = "") -> dict[str, ActForm]:
    if verb and verb not in STOP_ACTS:
        raise NotFound(f"there is no act {verb} at a stop")
    made: dict[str, ActForm] = {}
    for name, kind in STOP_ACTS.items():
        more: dict[str, Any] = {}
        if issubclass(kind, ColumnsForm):
            more["columns"] = found["columns"]
        made[name] = kind(posted if name == verb else None, **more)
    return made


def _stop_sheet(stop: Stop) -> dict[str, Any]:
    """The machine's columns with what they hold, shall hold, and what is packed for them."""
    found = day.stop_sheet(stop, now=timezone.now())
    packed: dict[int | None, int] = {}
    for line in found["packed"]:
        units = line.wanted if line.picked is None else line.picked
        packed[line.column_id] = packed.get(line.column_id, 0) + units
    for one in found["columns"]:
        one["packed"] = packed.get(one["column"])
        one["suggested"] = _suggested(one)
    found["pulls"] = any(one["pull_units"] or one["others"] for one in found["columns"])
    return found


def _suggested(column: Mapping[str, Any]) -> int:
    """What is packed for the column, else what it is thought to take; never more than its room.

    Once the column was counted or filled, no more of what is packed than still is to go in.
    """
    capacity = column["capacity"] or 0
    if column["packed"] is not None:
        most = capacity
        if column["told_since"]:
            wanted = capacity if column["fill_to"] is None else column["fill_to"]
            most = max(0, wanted - max(0, column["expected"]))
        return min(int(column["packed"]), most)
    if column["fill_to"] is None or column["expected"] is None:
        return 0
    return int(max(0, min(column["fill_to"] - max(0, column["expected"]), capacity)))


def _with_progress(sheet: dict[str, Any]) -> dict[str, Any]:
    stops = [one["stop"] for one in sheet["stops"]]
    over = [one for one in stops if one.state in {Stop.State.DONE, Stop.State.SKIPPED}]
    still = [one for one in stops if one.state in {Stop.State.ARRIVED, Stop.State.PLANNED}]
    here = [one for one in still if one.state == Stop.State.ARRIVED]
    sheet["over"], sheet["next"] = len(over), next(iter([*here, *still]), None)
    return sheet


def _next(stop: Stop) -> Stop | None:
    rest = Stop.objects.filter(
        run=stop.run_id, state=Stop.State.PLANNED, sequence__gt=stop.sequence
    )
    return rest.select_related("machine", "site").order_by("sequence", "pk").first()
