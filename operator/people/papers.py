"""Papers to print, sign and send, as PDF (ISO 32000): statements, reports, label sheets.

The same paper gives the same bytes, so that a paper kept can be told from one made anew. The text
is plain text throughout: no mark-up in a name or a note ever takes effect.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape

import reportlab
from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    KeepTogether,
    LongTable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    TableStyle,
)

from .exports import Cell, File

MEDIA_TYPE: Final = "application/pdf"
PLAIN, BOLD = "Plain", "Bold"
MARGIN: Final = 18 * mm
INK: Final = colors.HexColor("#1b1b1b")
RULE: Final = colors.HexColor("#8a8a8a")
KEPT_TOGETHER: Final = 12  # rows; a longer table breaks over pages


@dataclass(frozen=True)
class Section:
    """A heading, some sentences, and a table under them where it has a head.

    Figures stand to the right, text to the left. `total` is a last row, set off by a line.
    """

    heading: str = ""
    said: Sequence[str] = ()
    head: Sequence[str] = ()
    rows: Sequence[Sequence[Cell]] = ()
    total: Sequence[Cell] | None = None
    widths: Sequence[float] | None = None
    """Shares of the page's width, one a column; without them they follow the text."""


@dataclass(frozen=True)
class Paper:
    """What stands on the paper. `name` becomes the file's name; `foot` stands on every page."""

    name: str
    title: str
    under: Sequence[str] = ()
    sections: Sequence[Section] = field(default_factory=tuple)
    foot: str = ""


def as_pdf(paper: Paper) -> File:
    """The paper as a file, on pages of US letter size."""
    _load_fonts()
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=letter,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=paper.title,
        author="",
        invariant=1,
        lang="en-US",
    )
    story: list[Any] = [Paragraph(escape(paper.title), _style(15, bold=True, after=6))]
    story += [Paragraph(escape(line), _style(9, after=2)) for line in paper.under]
    for section in paper.sections:
        story += _section(section, document.width)
    document.build(story, canvasmaker=_numbered(paper.foot))
    plain = re.sub(r"[^a-z0-9]+", "-", paper.name.lower()).strip("-") or "paper"
    return File(f"{plain}.pdf", MEDIA_TYPE, out.getvalue())


def _section(section: Section, width: float) -> list[Any]:
    parts: list[Any] = [Spacer(0, 5 * mm)]
    if section.heading:
        parts.append(Paragraph(escape(section.heading), _style(11, bold=True, after=4)))
    parts += [Paragraph(escape(line), _style(9, after=3)) for line in section.said]
    if section.head:
        parts.append(_table(section, width))
    few = len(section.rows) <= KEPT_TOGETHER
    return [KeepTogether(parts)] if few else parts


def _table(section: Section, width: float) -> LongTable:
    rows = [*section.rows, *([section.total] if section.total else [])]
    right = {n for row in rows for n, cell in enumerate(row) if _is_figure(cell)}
    styles = {
        (bold, to_right): _style(8, bold=bold, right=to_right)
        for bold in (False, True)
        for to_right in (False, True)
    }

    def line(cells: Sequence[Cell], *, bold: bool) -> list[Paragraph]:
        return [
            Paragraph(escape(_said(cell)), styles[bold, n in right]) for n, cell in enumerate(cells)
        ]

    last = len(rows)
    written = [line(section.head, bold=True)] + [
        line(row, bold=section.total is not None and n == last) for n, row in enumerate(rows, 1)
    ]
    shares = section.widths or _shares(section.head, rows)
    whole = sum(shares)
    table = LongTable(
        written, colWidths=[width * share / whole for share in shares], repeatRows=1, hAlign="LEFT"
    )
    look: list[Any] = [
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
        ("LINEBELOW", (0, 1), (-1, -1), 0.25, RULE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]
    if section.total is not None:
        look.append(("LINEABOVE", (0, -1), (-1, -1), 0.8, INK))
    table.setStyle(TableStyle(look))
    return table


def _shares(head: Sequence[str], rows: Sequence[Sequence[Cell]]) -> list[float]:
    """Widths after the longest text of each column, none so wide that it starves the others."""
    seen = rows[:200]
    # A head breaks between its words, and never within one: it is bold, hence wider.
    words = [max(map(len, name.split()), default=0) * 1.2 for name in head]
    return [
        float(min(max([len(name) * 0.7, words[n], *(len(_said(row[n])) for row in seen), 6]), 42))
        for n, name in enumerate(head)
    ]


def _is_figure(cell: Cell) -> bool:
    return isinstance(cell, int | float | Decimal) and not isinstance(cell, bool)


def _said(cell: Cell) -> str:
    match cell:
        case None:
            return ""
        case bool():
            return "yes" if cell else "no"
        case Decimal() | int() | float():
            return f"{cell:,}"
        case date():
            return cell.isoformat()
        case _:
            return str(cell)


def _style(
    size: float, *, bold: bool = False, right: bool = False, after: float = 0
) -> ParagraphStyle:
    style = ParagraphStyle(
        "text",
        fontName=BOLD if bold else PLAIN,
        fontSize=size,
        leading=size * 1.3,
        textColor=INK,
        spaceAfter=after,
    )
    if right:
        style.alignment = TA_RIGHT
    return style


def _load_fonts() -> None:
    """The fonts that come with the library; they go into the file, so that any reader has them."""
    folder = Path(reportlab.__file__).parent / "fonts"
    for name, file in ((PLAIN, "Vera.ttf"), (BOLD, "VeraBd.ttf")):
        if name in pdfmetrics.getRegisteredFontNames():
            continue
        try:
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))
        except TTFError as error:  # pragma: no cover - the package is broken
            raise RuntimeError(f"the font {file} of the PDF library cannot be read") from error


def _numbered(foot: str) -> type[Canvas]:
    """A canvas that knows at the end how many pages there are, and writes it on each."""

    class Numbered(Canvas):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            kwargs["invariant"] = 1
            super().__init__(*args, **kwargs)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            pages = list(self._pages)
            for number, page in enumerate(pages, start=1):
                self.__dict__.update(page)
                self.setFont(PLAIN, 7)
                self.setFillColor(INK)
                self.drawString(MARGIN, 10 * mm, foot[:120])
                self.drawRightString(letter[0] - MARGIN, 10 * mm, f"page {number} of {len(pages)}")
                super().showPage()
            super().save()

    return Numbered
