"""Reports of tax as tables: for the page, for a spreadsheet and for paper, from one place."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from people.exports import Cell, Table
from people.models import Business
from people.papers import Paper, Section
from service.compute.tax import split
from service.compute.tax.classes import WORDS, ClassCode, Status
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import ADVICE

from .models import Filing, TaxSettings
from .queries.filing import SinceFiled
from .sums.gathering import Period

HEAD: Final = (
    "State",
    "Jurisdictions",
    "Class",
    "Rule",
    "Rate",
    "Units",
    "Receipts",
    "Exempt",
    "Taxable",
    "Tax in the price",
    "Deposits kept out",
    "Taxed by cost or decal",
    "Unclassified",
    "Reckoned from",
    "Tax due",
    "Source",
    "Checked",
    "How",
)
MONEY: Final = HEAD[6:15]
"""From receipts to tax due."""
ON_PAPER: Final = (
    "Jurisdictions",
    "Class",
    "Rate",
    "Receipts",
    "Exempt",
    "Taxable",
    "Tax in the price",
    "Tax due",
)
WIDTHS: Final = (0.22, 0.13, 0.07, 0.12, 0.11, 0.12, 0.115, 0.115)
"""Of a page: a figure of a million stands in one line."""
APART: Final = (
    "Jurisdictions",
    "Class",
    "Deposits kept out",
    "Taxed by cost or decal",
    "Unclassified",
)
"""Columns of receipts that are in no tax base, for the lines that have some."""

MADE: Final = ("Class", "Receipts", "Exempt", "Taxable", "Unclassified", "Tax due")
MADE_WIDTHS: Final = (0.3, 0.14, 0.14, 0.14, 0.14, 0.14)

Figures = Mapping[str, Any]


def row(line: Figures) -> list[Cell]:
    """One line of a report, filed or not, as cells under HEAD."""
    return [
        line["state"] or "no place",
        ", ".join(line["names"]),
        WORDS[ClassCode(line["class"])],
        line["title"],
        percent(line["rate"]),
        line["units"],
        Decimal(line["receipts"]),
        Decimal(line["exempt"]),
        Decimal(line["taxable"]),
        Decimal(line["tax_inside"]),
        Decimal(line["deposits"]),
        Decimal(line["measured_otherwise"]),
        Decimal(line["unclassified"]),
        Decimal(line["measure"]),
        Decimal(line["tax"]),
        line["citation"],
        Status(line["status"]).words if line["status"] else "",
        "; ".join(line["why"]),
    ]


def total(figures: Figures) -> list[Cell]:
    """The totals of a report under HEAD."""
    sums = figures["totals"]
    return [
        "All",
        "",
        "",
        "",
        "",
        sums["units"],
        *(
            Decimal(sums[name])
            for name in (
                "receipts",
                "exempt",
                "taxable",
                "tax_inside",
                "deposits",
                "measured_otherwise",
                "unclassified",
                "measure",
                "tax",
            )
        ),
        "",
        "",
        "",
    ]


def percent(rate: str) -> str:
    """A fraction as a percentage: `6.25 %`."""
    return split.percent(Decimal(rate))


def report_table(figures: Figures, name: str) -> Table:
    """A report as a table for a spreadsheet, its totals last."""
    rows: Iterable[list[Cell]] = [
        *(row(line) for line in figures["lines"]),
        total(figures),
        *(_decal_row(one) for one in figures.get("decals", ())),
    ]
    return Table(name, HEAD, list(rows), Business.the().time_zone, money=MONEY)


DECAL_WIDTHS: Final = (0.07, 0.31, 0.1, 0.1, 0.1, 0.17, 0.15)
DECALS: Final = ("State", "Rule", "Machines", "Each a year", "In all", "Source", "Checked")
DECALS_SAID: Final = (
    "Machines that sold something under a rule that goes by a yearly decal. The amount is what the "
    "decals cost; it is in no tax above."
)


def decal_cells(decal: Figures) -> list[Cell]:
    """One decal of a report under DECALS."""
    return [
        decal["state"],
        decal["title"],
        decal["machines"],
        Decimal(decal["each"]),
        Decimal(decal["amount"]),
        decal["citation"],
        checked(decal),
    ]


def _decal_row(decal: Figures) -> list[Cell]:
    """A decal under HEAD, after the totals: its figures stand in words, for they are no tax."""
    cells: list[Cell] = [""] * len(HEAD)
    for name, cell in (
        ("State", decal["state"]),
        ("Class", "yearly decals"),
        ("Rule", decal["title"]),
        ("Source", decal["citation"]),
        ("Checked", checked(decal)),
        ("How", decal_words(decal)),
    ):
        cells[HEAD.index(name)] = cell
    return cells


def decal_words(decal: Figures) -> str:
    """How the amount of a decal is made."""
    return (
        f"{decal['machines']} machines x {decal['each']} a machine and year = {decal['amount']}; "
        "in no tax above"
    )


def report_paper(figures: Figures, period: Period, basis: str, *, title: str) -> Paper:
    """A report as paper: the figures, what is due to whom, and what must be known."""
    lines = [row(line) for line in figures["lines"]]
    whole = total(figures)
    apart = [cells for cells in lines if any(_named(APART[2:], cells))]
    due = [(code, Decimal(tax)) for code, tax in figures["due"].items() if Decimal(tax)]
    sections = [
        Section(
            heading="Receipts and tax",
            said=[
                "Exempt, taxable, tax in the price and what stands apart below are the receipts."
            ],
            head=ON_PAPER,
            rows=[_named(ON_PAPER, cells) for cells in lines],
            total=["All", *_named(ON_PAPER, whole)[1:]],
            widths=WIDTHS,
        )
    ]
    if apart:
        sections.append(
            Section(
                heading="Apart from the tax base",
                head=APART,
                rows=[_named(APART, cells) for cells in apart],
                total=["All", *_named(APART, whole)[1:]],
            )
        )
    if decals := figures.get("decals"):
        sections.append(
            Section(
                heading="Yearly decals instead of tax",
                said=[DECALS_SAID],
                head=DECALS,
                rows=[decal_cells(one) for one in decals],
                widths=DECAL_WIDTHS,
            )
        )
    sections += [
        Section(heading="Due to", head=("Jurisdiction", "Tax"), rows=due),
        Section(heading="To know", said=figures["said"]),
    ]
    return Paper(
        name=title,
        title=title,
        under=_under(period, basis, figures),
        sections=sections,
        foot=f"{Business.the().name} · {title} · no tax advice",
    )


def _named(names: Iterable[str], cells: list[Cell]) -> list[Cell]:
    """The cells of a row of HEAD under some of its columns."""
    return [cells[HEAD.index(name)] for name in names]


def how_paper(figures: Figures, period: Period, basis: str, *, title: str) -> Paper:
    """How each number was made: for every rule in a place its source and the reckoning, said once,
    and what of it each class has."""
    alike: dict[tuple[Any, ...], list[Figures]] = {}
    for line in figures["lines"]:
        shared = ("state", "title", "rate", "citation", "status")
        key = (*line["names"], *(line[name] for name in shared), *line["why"])
        alike.setdefault(key, []).append(line)
    return Paper(
        name=f"{title} how each number was made",
        title=f"{title}: how each number was made",
        under=_under(period, basis, figures),
        sections=[_made(lines) for lines in alike.values()]
        + [
            Section(
                heading=f"{one['state']}, yearly decals: {one['title']}",
                said=[decal_words(one), f"{one['citation']} ({checked(one)})"],
            )
            for one in figures.get("decals", ())
        ],
        foot=f"{Business.the().name} · {title} · no tax advice",
    )


def _made(lines: Sequence[Figures]) -> Section:
    """Lines of one reckoning: how it went, and the part of each class."""
    first = lines[0]
    where = ", ".join(first["names"]) or first["state"] or "no place"
    rate = f", {percent(first['rate'])}" if Decimal(first["rate"]) else ""
    cells = [_named(MADE, row(line)) for line in lines]
    return Section(
        heading=f"{where}: {first['title'] or 'no rule'}{rate}",
        said=[
            *first["why"],
            *([f"{first['citation']} ({checked(first)})"] if first["citation"] else []),
        ],
        head=MADE,
        rows=cells,
        total=["together", *map(sum, list(zip(*cells, strict=True))[1:])] if cells[1:] else None,
        widths=MADE_WIDTHS,
    )


def checked(line: Figures) -> str:
    return Status(line["status"]).words if line["status"] else "no rule"


def _under(period: Period, basis: str, figures: Figures) -> list[str]:
    return [
        f"{period.starts_on} to {period.ends_on}, the last day not included",
        f"Receipts fall {TaxSettings.Basis(basis).label}. "
        f"Rounding: {Rounding(figures['rounding']).words}.",
        ADVICE,
    ]


def report_title(state: str, period: Period) -> str:
    """What the report of a state, or of all of them, is called on paper and as a file."""
    return f"Sales tax of {state or 'every state'}, {period.starts_on}"


def filing_title(filing: Filing) -> str:
    amended = ", amended" if filing.amends_id else ""
    return f"Sales tax of {filing.state}, {filing.starts_on} to {filing.ends_on}{amended}"


CHANGED_HEAD: Final = (
    "Jurisdictions",
    "Class",
    "Rule",
    "Receipts filed",
    "Receipts now",
    "Tax filed",
    "Tax now",
    "More tax",
)


def changed_rows(changes: SinceFiled) -> list[list[Cell]]:
    """What has changed of a return, line by line, under CHANGED_HEAD."""
    return [
        [
            ", ".join(one.names),
            WORDS[ClassCode(one.code)],
            one.title,
            one.was["receipts"],
            one.now["receipts"],
            one.was["tax"],
            one.now["tax"],
            one.tax,
        ]
        for one in changes.lines
    ]
