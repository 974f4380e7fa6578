"""The guide of a driver's day is run as it is written, against the live service."""

import re
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from fleet.inventory.queries.check import check_stock
from fleet.sales.models import Bag
from people.models import Business
from service.runs.actions import byhand, loading
from service.runs.models import Run, Stop
from service.tickets.actions import moves, reporting
from service.tickets.models import Symptom, Ticket
from tests.cast import PASSWORD
from tests.live import Live
from tests.service.runs.roadwork import RoadWork, count_all

GUIDE = (Path(__file__).resolve().parents[2] / "api" / "README.md").read_text()
SAYS = re.compile(r"^(pick [^\n<]+< \w+\.json) +# (.*)$", re.MULTILINE)


@pytest.mark.django_db(transaction=True)
def test_the_guide_runs_as_it_is_written(work: RoadWork, live: Live, tmp_path: Path) -> None:
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

    blocks = re.findall(r"^```sh\n(.*?)^```$", GUIDE, flags=re.MULTILINE | re.DOTALL)
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
            "EMAIL": work.driver.email,
            "PASSWORD": PASSWORD,
            "PATH": "/usr/local/bin:/usr/bin:/bin",
        },
    )
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}\n{live.log.read_text()[-3000:]}"
    # What the guide says beside a line is what the line prints.
    promised = [re.split(r"[:(]", words)[0].strip() for _, words in SAYS.findall(GUIDE)]
    promised[0] = SAYS.findall(GUIDE)[0][1].rpartition(": ")[2]
    assert done.stdout.split("\n")[:-1] == promised

    assert Run.objects.get(pk=run.pk).state == Run.State.ENDED
    states = list(Stop.objects.filter(run=run).values_list("state", flat=True))
    assert states == ["done", "done", "done"]
    assert Bag.objects.count() == 1
    mended = Ticket.objects.get(pk=told.ticket.pk)
    assert (mended.state, mended.work.cause.code) == (Ticket.State.CLOSED, "coin_path")
    assert mended.attachments.count() == 1
    assert Ticket.objects.filter(symptom__code="dark", machine=work.machines[2]).count() == 1
    assert not check_stock().faults
