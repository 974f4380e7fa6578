"""Runs at the desk: the week, the board of a day, plans searched, agreed and dropped."""

from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from office import searches, tasks
from office.doors import PersonRequest, part_or_page, sent_as_file
from office.drawing.lanes import lanes
from office.forms.runs import InsertForm, MoveForm
from people.errors import NotFound
from people.exports import Table
from people.models import Business
from service.runs.actions import board, plans
from service.runs.models import DayPlan, PlannedMachine, Run
from service.runs.queries import gates
from service.runs.queries.planned import DayBoard, day_board, score_now, week_of

DAYS = 7
OUT_SHOWN = 60


def day_named(on: str) -> date:
    """The day that an address names as 2026-03-02. Raises NotFound."""
    try:
        return date.fromisoformat(on)
    except ValueError as error:
        raise NotFound(f"{on} is no day; write it like 2026-03-02") from error


def plan_named(request: PersonRequest) -> int | None:
    """The plan that `?plan=` names. Raises NotFound for what is no number."""
    said = request.GET.get("plan") or request.POST.get("plan") or ""
    if said and not (said.isascii() and said.isdecimal() and len(said) < 18):
        raise NotFound(f"there is no plan {said}")
    return int(said) if said else None


def today() -> date:
    return timezone.localdate(timezone.now(), Business.the().time_zone)


def address_of(on: date, plan: int | None = None) -> str:
    found = reverse("office:runs-day", args=[on.isoformat()])
    return f"{found}?plan={plan}" if plan else found


def week(request: PersonRequest) -> HttpResponse:
    """Days beside machines: who is visited when, and what each day adds up to."""
    said = request.GET.get("from", "")
    starts = day_named(said) if said else today()
    if not date(1970, 1, 1) <= starts <= date(2200, 1, 1):
        raise NotFound(f"nothing is planned in {starts.year}")
    context = {
        "week": week_of(starts, DAYS),
        "starts": starts,
        "before": starts - timedelta(days=DAYS),
        "after": starts + timedelta(days=DAYS),
        "today": today(),
    }
    return render(request, "office/runs/week.html", context)


def day(request: PersonRequest, on: str) -> HttpResponse:
    """The board of a day: lanes, stops with their reasons, what is left out, money and minutes."""
    shown = day_board(day_named(on), plan_named(request))
    now = timezone.now()
    context = {
        "board": shown,
        "plan": shown.plan,
        "on": shown.day.date,
        "before": shown.day.date - timedelta(days=1),
        "after": shown.day.date + timedelta(days=1),
        "today": today(),
        "drawing": _drawn(shown),
        "score": score_now([one.run for one in shown.runs], now=now),
        "left_minor": sum(one.prize_minor for one in shown.out),
        "out": shown.out[:OUT_SHOWN],
        "out_more": max(0, len(shown.out) - OUT_SHOWN),
        "move": MoveForm(runs=shown.runs),
        "insert": InsertForm(runs=shown.runs),
        "gives_way": any(one.state == DayPlan.State.AGREED for one in shown.plans),
        "plan_query": f"plan={shown.plan.pk}" if shown.plan else "",
        "has_begun": any(one.run.started_at for one in shown.runs),
    }
    return render(request, "office/runs/day.html", context)


def _drawn(shown: DayBoard) -> object:
    if not shown.runs:
        return None
    zone = Business.the().time_zone
    return lanes(shown.runs, zone, ident="lanes", title=f"Runs of {shown.day.date:%A}")


def search(request: PersonRequest, on: str) -> HttpResponse:
    """Have the worker search for a plan of the day, of the week from it, or of what is left."""
    what = request.POST.get("what", "day")
    if what not in searches.WHAT:
        raise NotFound(f"nothing is searched for as {what}")
    begun = searches.begin(what, day_named(on), request.user, timezone.now())
    tasks.search.delay(begun.key)
    return redirect("office:runs-searching", begun.key)


def searching(request: PersonRequest, key: str) -> HttpResponse:
    """How far a search is; once it is done, where what it found stands."""
    found = searches.find(key)
    if found is None:
        raise NotFound("this search is forgotten; what it found stands on the board of its day")
    now = timezone.now()
    week_page = f"{reverse('office:runs')}?from={found.on.isoformat()}"
    address = week_page if found.what == "week" else address_of(found.on, found.plan)
    context = {
        "search": found,
        "address": address,
        "lost": found.is_lost(now),
        "seconds": round((now - found.begun_at).total_seconds()),
    }
    response = part_or_page(
        request, "office/runs/search_part.html", "office/runs/search.html", context
    )
    if found.state == "done" and request.headers.get("HX-Request"):
        messages.success(request, found.said)
        response["HX-Redirect"] = address
    return response


def agree(request: PersonRequest, pk: int) -> HttpResponse:
    plan = gates.plan_for(request.user, pk, write=True)
    plans.agree(plan=plan, actor=request.user, now=timezone.now())
    messages.success(request, "Agreed: the drivers see their runs.")
    return redirect("office:runs-day", plan.date.isoformat())


def drop(request: PersonRequest, pk: int) -> HttpResponse:
    plan = gates.plan_for(request.user, pk, write=True)
    plans.drop(plan=plan, actor=request.user, now=timezone.now())
    messages.success(request, "The draft is dropped.")
    return redirect("office:runs-day", plan.date.isoformat())


def lock_run(request: PersonRequest, pk: int) -> HttpResponse:
    """Lock a run, or let it go: as the button says."""
    run = gates.run_for(request.user, pk)
    now = timezone.now()
    if request.POST.get("locked") == "no":
        board.unlock_run(run=run, actor=request.user, now=now)
        messages.success(request, f"The run of {run.driver} may be planned anew.")
    else:
        board.lock_run(run=run, actor=request.user, now=now)
        messages.success(request, f"The run of {run.driver} stays as it is.")
    return redirect(address_of(run.date, None if run.agreed else run.plan_id))


def export(request: PersonRequest, on: str) -> HttpResponse:
    """Each machine of the day's plan: in or out, why, what is at stake, what it costs."""
    shown = day_board(day_named(on), plan_named(request))
    places = {one.stop.machine_id: (run.run, one) for run in shown.runs for one in run.stops}
    rows = (
        PlannedMachine.objects.filter(plan=shown.plan).select_related("machine")
        if shown.plan
        else PlannedMachine.objects.none()
    )
    head = ["Machine", "Run", "Place", "Arrives", "Must be visited", "Units at stake"]
    head += ["Money at stake", "Minutes", "Why"]
    exponent = Business.the().currency_exponent

    def line(one: PlannedMachine) -> list[object]:
        run, stop = places.get(one.machine_id, (None, None))
        return [
            one.machine.asset_tag,
            _said(run),
            stop.place if stop else None,
            stop.stop.planned_arrive if stop else None,
            one.must_go,
            one.units_at_stake,
            round(one.prize_minor / 10**exponent, exponent),
            one.costs_minutes,
            " ".join(str(reason.get("said", "")) for reason in one.reasons),
        ]

    name = f"plan {shown.day.date}"
    lines = [line(one) for one in rows.order_by("machine__asset_tag", "pk")]
    return sent_as_file(request, Table(name, head, lines, Business.the().time_zone))  # type: ignore[arg-type]


def _said(run: Run | None) -> str:
    return "" if run is None else f"{run.vehicle.name}, {run.driver}"
