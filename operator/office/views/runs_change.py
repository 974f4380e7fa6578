"""Changes of a day's runs: each is shown with its minutes before anybody accepts it."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.doors import CONFLICT, PersonRequest, part_or_page, sent, tell, tried
from office.forms.runs import ByHandForm, InsertedForm, InsertForm, MoveForm, ReasonForm
from people.errors import NotAllowed, Unable
from people.models import AuditEntry
from people.refused import in_words
from service.runs.actions import board, byhand
from service.runs.models import Run
from service.runs.queries import gates
from service.runs.queries.planned import day_board, drivers_free
from service.runs.queries.standing import standing_of

from .runs import address_of, day_named, plan_named

PART, PAGE = "office/runs/change_part.html", "office/runs/change.html"
MOST_TOLD = 20
LAST_ENTRY = 2**63 - 1


def move(request: PersonRequest, on: str) -> HttpResponse:
    """What moving a stop would change; sent, it is moved if the runs still stand as they did."""
    shown = day_board(day_named(on), plan_named(request))
    accepts = request.method == "POST"
    form = MoveForm(request.POST if accepts else request.GET, runs=shown.runs)
    context: dict[str, Any] = {"on": shown.day.date, "plan": shown.plan, "move": form}
    context |= {"title": "Move a stop", "address": "office:runs-move"}
    if not form.is_valid():
        # Somebody may have moved or begun the stop since the page was shown.
        return _changed(request, context, form, 422)
    stop, run, position = form.stop_moved, form.run, form.position
    runs = [stop.run_id, run.pk]
    context |= {"stop": stop, "run": run, "position": position}
    now = timezone.now()
    if accepts:
        seen = request.POST.get("seen", "")
        done = tried(
            form,
            board.move_stop,
            stop=stop,
            run=run,
            position=position,
            actor=request.user,
            now=now,
            seen=seen.partition("-")[2],
        )
        if done:
            messages.success(request, f"{stop.machine} is moved: {done[1].said}.")
            return redirect(address_of(shown.day.date, _plan_of(shown.plan, run)))
        context["meanwhile"] = _meanwhile(runs, seen)
    change = _previewed(form, board.preview_move, stop=stop, run=run, position=position, now=now)
    return _changed(request, context | {"change": change, "seen": _seen(runs)}, form)


def insert(request: PersonRequest, on: str) -> HttpResponse:
    """Where one more stop costs least; sent, with a reason, it is put there."""
    shown = day_board(day_named(on), plan_named(request))
    accepts = request.method == "POST"
    form = InsertForm(request.POST if accepts else request.GET, runs=shown.runs)
    reason = InsertedForm(request.POST if accepts else None)
    context: dict[str, Any] = {"on": shown.day.date, "plan": shown.plan, "insert": form}
    context |= {"title": "Put a machine on a run", "address": "office:runs-insert"}
    context["reason"] = reason
    if not form.is_valid():
        return _changed(request, context, form, 422)
    asked = {"machine": form.cleaned_data["machine"], "run": form.on, "day": shown.day.date}
    runs = form.touched
    now = timezone.now()
    if accepts and reason.is_valid():
        seen = request.POST.get("seen", "")
        done = tried(
            reason,
            board.insert_stop,
            **asked,
            **reason.cleaned_data,
            actor=request.user,
            now=now,
            seen=seen.partition("-")[2],
        )
        if done:
            messages.success(request, f"{done[0].machine} is on a run: {done[1].said}.")
            return redirect(address_of(shown.day.date, _plan_of(shown.plan, done[0].run)))
        context["meanwhile"] = _meanwhile(runs, seen)
    change = _previewed(form, board.preview_insert, **asked, now=now)
    context |= {"change": change, "machine": asked["machine"], "seen": _seen(runs)}
    return _changed(request, context, form, sent(reason) if reason.is_bound else 200)


def take_off(request: PersonRequest, pk: int) -> HttpResponse:
    stop = gates.stop_for(request.user, pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        now = timezone.now()
        seen = request.POST.get("seen", "").partition("-")[2]
        given = {"stop": stop, "actor": request.user, "now": now, "seen": seen}
        change = tried(form, board.take_off, **given, **form.cleaned_data)
        if change:
            messages.success(request, f"{stop.machine} is off the run: {change.said}.")
            return redirect(address_of(stop.run.date, _plan_of(stop.run.plan, stop.run)))
    asked: dict[str, Any] = {"stop": stop, "now": timezone.now()}
    if request.method == "POST":
        change = _previewed(form, board.preview_take_off, **asked)
    else:
        change = board.preview_take_off(**asked)
    runs = [stop.run_id]
    context = {"stop": stop, "run": stop.run, "form": form, "change": change}
    context |= {"seen": _seen(runs), "meanwhile": _meanwhile(runs, request.POST.get("seen", ""))}
    return render(request, "office/runs/take_off.html", context, status=sent(form))


def lock_stop(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep a stop in its place, or let it go: as the button says."""
    stop = gates.stop_for(request.user, pk)
    locked = request.POST.get("locked") != "no"
    board.lock_stop(stop=stop, locked=locked, actor=request.user, now=timezone.now())
    said = "stays in its place" if locked else "may be moved again"
    messages.success(request, f"{stop.machine} {said}.")
    # Whoever locks one stop after another goes on where the last one is.
    board_page = address_of(stop.run.date, _plan_of(stop.run.plan, stop.run))
    return redirect(f"{board_page}#stop-{stop.pk}")


def by_hand(request: PersonRequest, on: str) -> HttpResponse:
    """Give a driver a run without a search."""
    when = day_named(on)
    form = ByHandForm(request.POST or None, drivers=drivers_free(when))
    if request.method == "POST" and form.is_valid():
        run = tried(
            form,
            byhand.add_run,
            date=when,
            driver=form.cleaned_data["driver"],
            vehicle=form.cleaned_data["vehicle"],
            machines=list(form.cleaned_data["machines"]),
            starts_at=form.moment("starts", when),
            ends_at=form.moment("ends", when),
            actor=request.user,
            now=timezone.now(),
        )
        if run:
            messages.success(request, f"{run.driver} has a run of {run.stops.count()} stops.")
            return redirect("office:runs-day", when.isoformat())
    context = {"on": when, "form": form}
    return render(request, "office/runs/by_hand.html", context, status=sent(form))


def _previewed(form: Any, action: Any, **given: Any) -> Any:
    """What an action would change; what it refuses stands above the form."""
    try:
        with in_words():
            return action(**given)
    except NotAllowed:
        raise
    except Unable as error:
        if not form.errors:
            tell(form, error)
        return None


def _changed(
    request: PersonRequest, context: dict[str, Any], form: Any, status: int | None = None
) -> HttpResponse:
    response = part_or_page(request, PART, PAGE, context | {"form": form})
    found = {sent(form), status or 200}
    response.status_code = CONFLICT if CONFLICT in found else max(found)
    return response


def _plan_of(plan: Any, run: Run) -> int | None:
    """The draft to come back to; the board shows what is agreed by itself."""
    return plan.pk if plan is not None and not run.agreed else None


def _seen(runs: Sequence[int]) -> str:
    """How the runs stand now, and the last that was written of them."""
    last = _entries(runs).order_by("-pk").values_list("pk", flat=True).first()
    return f"{last or 0}-{standing_of(runs)}"


def _meanwhile(runs: Sequence[int], seen: str) -> list[AuditEntry]:
    """What was done to the runs since the page was shown, latest first."""
    entry = seen.partition("-")[0]
    if not (entry.isascii() and entry.isdecimal()):
        return []
    after = min(int(entry[:20]), LAST_ENTRY)
    return list(_entries(runs).filter(pk__gt=after).order_by("-pk")[:MOST_TOLD])


def _entries(runs: Sequence[int]) -> Any:
    label = Run._meta.label
    return AuditEntry.objects.filter(object_type=label, object_id__in=runs).select_related("actor")
