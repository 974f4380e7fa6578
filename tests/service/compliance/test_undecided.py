"""What a report of tax says of intervals that hold something back: which they are."""

import io
from datetime import date

import pytest
from pypdf import PdfReader

from fleet.machines.models import Machine
from fleet.sales.models import MachineInterval
from people.models import Person
from people.papers import as_pdf
from service.compliance import tax_tables
from service.compliance.actions import filing, tax_rules
from service.compliance.queries import undecided as queries
from service.compliance.queries.tax import tax_report
from service.compliance.queries.undecided import undecided
from service.compliance.sums.gathering import Period
from service.compute.tax.report import figures
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

pytestmark = pytest.mark.django_db
JANUARY = Period(date(2026, 1, 1), date(2026, 2, 1))
SAID = (
    "LOB-1, every column, 2026-01-12 09:00 to 2026-01-20 09:00: waits for a decision.",
    "LOB-1, columns 2, 2026-01-20 09:00 to 2026-01-24 09:00: does not add up.",
)


@pytest.fixture
def florida(world: World, owner: Person) -> Machine:
    """A machine whose board was changed in January, and whose next interval lost a column."""
    site = world.site("Palm Court", state="FL", county="Hale")
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    machine: Machine = machine_at(world, "LOB-1", site, drinks(world))
    sales = Sales(machine)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=10)
    sales.meter.new_board("ZZZ9002")
    sales.read(local(2026, 1, 20, 9), cash_1=4)
    sales.read(local(2026, 1, 24, 9), cash_1=2, card_2=1)
    last = machine.intervals.first()
    assert last is not None
    last.lines.filter(column__position__label="2").update(paid_units=None)
    MachineInterval.objects.filter(pk=last.pk).update(sum_agrees=False, why_not=["a gap"])
    return machine


def test_intervals_that_hold_something_back_are_named(florida: Machine, world: World) -> None:
    found = undecided(JANUARY)
    assert tuple(map(str, found.named)) == SAID
    assert (found.number, found.left_out) == (2, 0)
    assert found.named[0].read_id == florida.intervals.get(awaits_decision=True).to_read_id
    assert found.said[0].startswith("2 intervals do not add up or wait for a decision; ")
    assert undecided(JANUARY, [florida.pk + 1]).said == ()
    assert undecided(Period(date(2026, 2, 1), date(2026, 3, 1))).number == 0
    assert set(SAID) <= set(tax_report(JANUARY, state="FL").report.said)
    elsewhere = world.site("Mill Yard", state="NC")
    world.machine("MIL-1", world.kind("another"), site=elsewhere)
    assert not set(SAID) & set(tax_report(JANUARY, state="NC").report.said), "of its state alone"


def test_no_more_are_named_than_fit(florida: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(queries, "MOST_NAMED", 1)
    assert undecided(JANUARY).said[1:] == (SAID[0], "And 1 more of them.")


def test_papers_and_returns_name_them(florida: Machine, owner: Person) -> None:
    made = tax_report(JANUARY, state="FL")
    paper = tax_tables.report_paper(
        figures(made.report), JANUARY, made.gathered.basis, title="Sales tax of FL"
    )
    pages = PdfReader(io.BytesIO(as_pdf(paper).content)).pages
    told = " ".join("".join(page.extract_text() for page in pages).split())
    assert all(one in told for one in SAID), told
    filed = filing.file_period(state="FL", period=JANUARY, actor=owner, now=local(2026, 2, 3, 9))
    assert set(SAID) <= set(filed.figures["said"])
