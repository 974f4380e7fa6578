"""Papers as PDF: read back with another library."""

import io
from decimal import Decimal

from pypdf import PdfReader

from people.papers import Paper, Section, as_pdf

PAPER = Paper(
    name="Statement of a month",
    title="Commission for Harrow Mill",
    under=("June 2026", "Prepared for the host"),
    sections=(
        Section(
            heading="Receipts",
            said=("As read from the machines.",),
            head=("Machine", "Receipts"),
            rows=[("MV-1", Decimal("1234.50")), ("<b>MV-2</b> & co", Decimal("-3.00"))],
            total=("Total", Decimal("1231.50")),
        ),
    ),
    foot="Marrowby",
)


def _text(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def test_says_what_it_was_given() -> None:
    file = as_pdf(PAPER)
    assert file.name == "statement-of-a-month.pdf"
    text = _text(file.content)
    for said in ("Commission for Harrow Mill", "1,234.50", "1,231.50", "page 1 of 1", "Marrowby"):
        assert said in text


def test_markup_stays_text() -> None:
    assert "<b>MV-2</b> & co" in _text(as_pdf(PAPER).content)


def test_the_same_paper_gives_the_same_bytes() -> None:
    assert as_pdf(PAPER).content == as_pdf(PAPER).content


def test_a_long_table_breaks_over_numbered_pages_with_its_head() -> None:
    rows = [(f"MV-{n}", Decimal(n)) for n in range(200)]
    paper = Paper("long", "Long", sections=(Section(head=("Machine", "Units"), rows=rows),))
    reader = PdfReader(io.BytesIO(as_pdf(paper).content))
    pages = [page.extract_text() for page in reader.pages]
    assert len(pages) > 2
    assert all("Machine" in page for page in pages)
    assert f"page {len(pages)} of {len(pages)}" in pages[-1]
    assert all(f"MV-{n}" in "\n".join(pages) for n in range(200))
