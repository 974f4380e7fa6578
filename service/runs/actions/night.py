"""What the night does for runs: learns from visits, then plans the day that is about to begin."""

from datetime import datetime, time
from typing import Final

from django.db import connection, transaction

from fleet.demand.models import FitRun
from people.models import Business

from ..models import DayPlan
from ..queries.calendar import Calendar
from .learning import learn_service_times, learn_travel
from .plans import plan_day

NIGHT_FROM: Final = time(2, 30)
NIGHT_UNTIL: Final = time(7)
WAITS_UNTIL: Final = time(4)
"""From then on it plans with the demand there is, fitted this night or not."""
ONE_AT_A_TIME: Final = 7_301_442
"""Of the database's advisory locks."""


@transaction.atomic
def plan_night(*, now: datetime) -> DayPlan | None:
    """Plan the day that begins, once a night, after demand was fitted; None when nothing is due.

    Two that are asked at once make one plan.
    """
    local = now.astimezone(Business.the().time_zone)
    if not NIGHT_FROM <= local.time() < NIGHT_UNTIL:
        return None
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
        if not cursor.fetchone()[0]:
            return None
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    day = local.date()
    if DayPlan.objects.filter(date=day, made_by__isnull=True, made_at__gte=midnight).exists():
        return None
    fitted = FitRun.objects.filter(day=day, is_nightly=True, state=FitRun.State.DONE).exists()
    if not fitted and local.time() < WAITS_UNTIL:
        return None
    if not Calendar(day, day).duty(day).on:
        return None
    learn_service_times(now=now)
    learn_travel(now=now)
    return plan_day(date=day, actor=None, now=now)
