"""The guide's walks are run as they are written, against the live service."""

import re
import subprocess
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from fleet.inventory.queries.check import check_stock
from fleet.machines.models import Machine
from fleet.sales.actions import agreements
from fleet.sales.actions.bags import seal
from fleet.sales.models import Bag, Banking, SettlementLine, Statement
from people.models import Business, Person
from service.compliance.actions import tax_rules
from service.compliance.models import Filing
from service.runs.actions import byhand, loading
from service.runs.models import Run, Stop
from service.tickets.actions import moves, reporting
from service.tickets.models import Symptom, Ticket
from tests.cast import PASSWORD
from tests.live import Live
from tests.service.compliance.taxed import Sales
from tests.service.runs.roadwork import RoadWork, count_all

GUIDE = (Path(__file__).resolve().parents[2] / "api" / "README.md").read_text()
FIRST, DRIVER, ACCOUNTANT = re.split(r"^## .*$", GUIDE, flags=re.MULTILINE)
SAYS = re.compile(r"^(pick [^\n<]+< \w+\.json) +# (.*)$", re.MULTILINE)
Walk = Callable[[str, Person], None]


@pytest.fixture
def walk(live: Live, tmp_path: Path) -> Walk:
    """Runs the blocks of a chapter as a person; each line prints what stands beside it."""

    def run(chapter: str, person: Person) -> None:
        blocks = re.findall(r"^```sh\n(.*?)^```$", FIRST + chapter, re.MULTILINE | re.DOTALL)
        assert len(blocks) > 6
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", "".join(blocks)],
            check=False,
            capture_output=True,
            text=True,
            cwd=tmp_path,
            timeout=120,
            env={
                "COLONNADE": live.url,
                "EMAIL": person.email,
                "PASSWORD": PASSWORD,
                "PATH": "/usr/local/bin:/usr/bin:/bin",
            },
        )
        assert done.returncode == 0, f"{done.stdout}\n{done.stderr}\n{live.log.read_text()[-3000:]}"
        promised = [re.split(r"[:(]", words)[0].strip() for _, words in SAYS.findall(chapter)]
        assert promised
        assert done.stdout.split("\n")[:-1] == promised

    return run


@pytest.mark.django_db(transaction=True)
def test_the_drivers_day_runs_as_it_is_written(work: RoadWork, walk: Walk) -> None:
    now = timezone.now()
    count_all(work, 4, now - timedelta(days=1))
    work.stock(work.cola, 900, work.warehouse)
    work.stock(work.tea, 900, work.warehouse)
    # The first line of the load list is of what the guide fills with.
    run = byhand.add_run(
        date=now.astimezone(Business.the().time_zone).date(),
        driver=work.profile,
        machines=work.machines,
        starts_at=now - timedelta(hours=1),
        ends_at=now + timedelta(hours=8),
        actor=work.owner,
        now=now,
    )
    loading.make_load_list(run=run, actor=work.owner, now=now)
    lemon = work.world.product("Lemon", work.cola.package)
    planned = work.world.planned(work.world.column(work.machines[1], "1"), lemon)
    planned.plan.planned_for = run.date
    planned.plan.save()

    told = reporting.report(
        machine=work.machines[1],
        symptom=Symptom.objects.get(code="coins"),
        source=Ticket.Source.HOST,
        actor=work.owner,
        now=now - timedelta(hours=1),
    )
    moves.give(ticket=told.ticket, to=work.driver, actor=work.owner, now=now)

    walk(DRIVER, work.driver)

    assert Run.objects.get(pk=run.pk).state == Run.State.ENDED
    states = list(Stop.objects.filter(run=run).values_list("state", flat=True))
    assert states == ["done", "done", "done"]
    assert Bag.objects.count() == 1
    mended = Ticket.objects.get(pk=told.ticket.pk)
    assert (mended.state, mended.work.cause.code) == (Ticket.State.CLOSED, "coin_path")
    assert mended.attachments.count() == 1
    assert Ticket.objects.filter(symptom__code="dark", machine=work.machines[2]).count() == 1
    assert not check_stock().faults


def quarter(today: date) -> tuple[date, date]:
    """The last quarter that is over: its first day, and the first day after it."""
    ends_on = today.replace(month=(today.month - 1) // 3 * 3 + 1, day=1)
    last = ends_on - timedelta(days=1)
    return last.replace(month=last.month - 2, day=1), ends_on


def on(day: date, hour: int = 9) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=Business.the().time_zone)


@pytest.mark.django_db(transaction=True)
def test_the_accountants_quarter_runs_as_it_is_written(
    florida: Machine, owner: Person, accountant: Person, walk: Walk
) -> None:
    now = timezone.now()
    starts_on, ends_on = quarter(now.astimezone(Business.the().time_zone).date())
    sales = Sales(florida)
    sales.read(on(starts_on))
    sales.read(on(ends_on - timedelta(days=10)), cash_1=300, card_2=200)
    site = florida.placements.get().site
    given = {"actor": owner, "now": now}
    agreements.save_agreement(
        agreement=None,
        changes={"site": site, "starts_on": starts_on, "terms": {"shares": {"": "10"}}},
        **given,
    )
    tax_rules.save_duty(changes={"state": "FL", "first_period": starts_on}, **given)
    bag = seal(
        seal_number="A-1", machine=florida, sealed_at=on(ends_on - timedelta(days=10)), **given
    )
    walk(ACCOUNTANT, accountant)

    assert Bag.objects.get().counts.get().amount == 80
    assert Banking.objects.get().banked.get().bag == bag
    assert SettlementLine.objects.get().machine == florida
    statement = Statement.objects.get()
    assert (statement.starts_on, statement.due > 0) == (starts_on, True)
    first, amended = Filing.objects.order_by("pk")
    assert (first.starts_on, first.ends_on) == (starts_on, ends_on)
    assert (amended.amends, first.receipts) == (first, amended.receipts)
    assert first.receipts == 875
    assert amended.tax > first.tax > 0
