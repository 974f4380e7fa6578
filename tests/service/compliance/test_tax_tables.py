"""Reports of tax as files: every figure is there, adds up, and says how it was made."""

import csv
import io
from datetime import date
from decimal import Decimal

import openpyxl
import pypdf
import pytest

from fleet.machines.models import Machine
from people.exports import Format, as_file
from people.models import Person
from people.papers import Paper, as_pdf
from service.compliance import tax_tables
from service.compliance.actions import filing, tax_rules
from service.compliance.models import TaxRule
from service.compliance.queries.filing import since_filed
from service.compliance.queries.tax import TaxReport, tax_report
from service.compliance.sums.gathering import Period
from service.compute.tax.report import figures
from service.compute.tax.rules import ADVICE
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

pytestmark = pytest.mark.django_db
JANUARY = Period(date(2026, 1, 1), date(2026, 2, 1))
PARTS = (
    "Exempt",
    "Taxable",
    "Tax in the price",
    "Deposits kept out",
    "Taxed by cost or decal",
    "Unclassified",
)


@pytest.fixture
def machine(world: World, owner: Person) -> Machine:
    """A machine in a county with 1 % of surtax, whose name a spreadsheet could take for a sum."""
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    county.name = "=Hale & <Sons>"
    county.save()
    site = world.site("Palm Court", state="FL", county="Hale")
    tax_rules.place_site(site=site, jurisdiction=county, actor=owner, now=world.now)
    return machine_at(world, "LOB-1", site, drinks(world))


@pytest.fixture
def sales(machine: Machine) -> Sales:
    return Sales(machine)


@pytest.fixture
def made(sales: Sales) -> TaxReport:
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 20, 9), cash_1=300, card_2=200)
    return tax_report(JANUARY)


def read_back(made: TaxReport) -> list[dict[str, str]]:
    table = tax_tables.report_table(figures(made.report), "report")
    text = as_file(table, Format.CSV).content.decode()
    return list(csv.DictReader(io.StringIO(text)))


def words(paper: Paper) -> str:
    pages = pypdf.PdfReader(io.BytesIO(as_pdf(paper).content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


def test_the_rows_add_up_to_the_last(made: TaxReport) -> None:
    *rows, total = read_back(made)
    assert (total["State"], len(rows)) == ("All", 2)
    for name in ("Units", "Receipts", *PARTS, "Tax due"):
        assert sum(Decimal(row[name]) for row in rows) == Decimal(total[name]), name
    for row in [*rows, total]:
        assert sum(Decimal(row[name]) for name in PARTS) == Decimal(row["Receipts"])
    assert Decimal(total["Receipts"]) == Decimal("875.00")
    assert all(row["Source"] and row["Checked"] and row["How"] for row in rows)


def test_no_name_becomes_a_formula(made: TaxReport) -> None:
    table = tax_tables.report_table(figures(made.report), "report")
    sheet = openpyxl.load_workbook(io.BytesIO(as_file(table, Format.XLSX).content)).active
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert any("=Hale & <Sons>" in str(cell.value) for cell in cells)
    assert {cell.data_type for cell in cells} <= {"s", "inlineStr", "n"}
    head = [cell.value for cell in next(sheet.iter_rows())]
    last = [cell.value for cell in list(sheet.iter_rows())[-1]]
    assert Decimal(str(last[head.index("Receipts")])) == Decimal(875)


def test_the_paper_has_every_figure(made: TaxReport) -> None:
    said = words(
        tax_tables.report_paper(
            figures(made.report), JANUARY, made.gathered.basis, title="Sales tax of FL"
        )
    )
    assert "2026-01-01 to 2026-02-01" in said
    assert ADVICE in said
    for line in made.report.lines:
        assert f"{line.split.receipts:.2f}" in said
        assert f"{line.split.tax:.2f}" in said
    for code, tax in made.report.due.items():
        assert code in said
        assert f"{tax:.2f}" in said
    assert "=Hale & <Sons>" in said
    assert "Apart from the tax base" not in said


def test_what_is_apart_from_the_base_is_on_paper(sales: Sales, world: World, owner: Person) -> None:
    for rule in TaxRule.objects.all():
        tax_rules.remove_rule(rule=rule, why="to see", actor=owner, now=world.now)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 20, 9), cash_1=300, card_2=200)
    made = tax_report(JANUARY)
    said = words(tax_tables.report_paper(figures(made.report), JANUARY, "read", title="Sales tax"))
    assert "Apart from the tax base" in said
    assert "Unclassified" in said
    assert said.count("875.00") == 3


def test_a_paper_says_how_each_number_was_made(made: TaxReport) -> None:
    paper = tax_tables.how_paper(
        figures(made.report), JANUARY, made.gathered.basis, title="Sales tax of FL"
    )
    said = words(paper)
    (of_the_rule,) = paper.sections  # said once, for cola and for water
    assert of_the_rule.total is not None
    assert of_the_rule.total[1] == Decimal("875.00")
    assert of_the_rule.total[-1] == made.report.totals.tax
    assert len(pypdf.PdfReader(io.BytesIO(as_pdf(paper).content)).pages) == 1
    for line in made.report.lines:
        assert line.citation in said
        assert line.status is not None
        assert line.status.words in said
        for why in line.split.why:
            assert " ".join(why.split()) in said
    # The divisor of 7 % for food and drink, Rule 12A-15.011(2)(b).
    assert "1.0726" in said
    assert ADVICE in said


def test_a_paper_says_what_nobody_could_reckon(sales: Sales, world: World, owner: Person) -> None:
    for rule in TaxRule.objects.all():
        tax_rules.remove_rule(rule=rule, why="to see", actor=owner, now=world.now)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 20, 9), cash_1=300)
    made = figures(tax_report(JANUARY).report)
    (paper,) = tax_tables.how_paper(made, JANUARY, "read", title="Sales tax").sections
    assert paper.heading.endswith(": no rule")
    assert paper.said == ["no rule of FL is entered"]
    assert paper.rows[0][tax_tables.MADE.index("Unclassified")] == Decimal("525.00")


def test_a_filed_paper_stays_and_changes_are_listed(
    made: TaxReport, sales: Sales, owner: Person
) -> None:
    filed = filing.file_period(state="FL", period=JANUARY, actor=owner, now=local(2026, 2, 5, 9))
    title = tax_tables.filing_title(filed)
    before = as_pdf(tax_tables.report_paper(filed.figures, JANUARY, filed.basis, title=title))
    assert tax_tables.changed_rows(since_filed(filed)) == []
    sales.read(local(2026, 1, 30, 9), received=local(2026, 2, 20, 9), cash_1=40)
    filed.refresh_from_db()
    after = as_pdf(tax_tables.report_paper(filed.figures, JANUARY, filed.basis, title=title))
    assert before.content == after.content
    changed = tax_tables.changed_rows(since_filed(filed))
    assert [dict(zip(tax_tables.CHANGED_HEAD, row, strict=True)) for row in changed] == [
        {
            "Jurisdictions": "FL, =Hale & <Sons>",
            "Class": "soft drink",
            "Rule": made.report.lines[0].title,
            "Receipts filed": Decimal("525.00"),
            "Receipts now": Decimal("595.00"),
            "Tax filed": made.report.lines[0].split.tax,
            "Tax now": made.report.lines[0].split.tax + changed[0][-1],
            "More tax": changed[0][-1],
        }
    ]
    assert changed[0][-1] == Decimal("4.73")
