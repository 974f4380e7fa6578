"""A statement of commission on paper, from its frozen figures alone."""

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from people.currency import said
from people.models import Business
from people.papers import Paper, Section

from .models import Statement
from .terms import CLASSES

CLASS_WORDS = {**dict(CLASSES), "": "product not known"}


def carried_over(figures: Mapping[str, Any]) -> list[dict[str, str]]:
    """What frozen figures say was carried over; those frozen before there was such a thing say
    nothing."""
    return list(figures.get("carried_over", ()))


def statement_paper(statement: Statement) -> Paper:
    """What the host is told: terms, each machine's lines, and what is due."""
    business, figures = Business.the(), statement.figures

    def money(amount: str | Decimal) -> str:
        return said(Decimal(amount), business)

    def day(one: date) -> str:
        return f"{one.day} {one:%B %Y}"

    lines = Section(
        "How it was made",
        head=("Machine", "Class", "Receipts", "Taken off", "Base", "Percent", "Commission"),
        rows=[
            (
                one["machine"],
                CLASS_WORDS.get(one["product_class"], one["product_class"]),
                money(one["receipts"]),
                money(Decimal(one["receipts"]) - Decimal(one["base"])),
                money(one["base"]),
                "none agreed"
                if one["percent"] is None
                else f"{Decimal(one['percent']).normalize():f} %",
                money(one["amount"]),
            )
            for one in figures["lines"]
        ],
        total=(
            "Together",
            "",
            money(figures["receipts"]),
            money(Decimal(figures["receipts"]) - Decimal(figures["base"])),
            money(figures["base"]),
            "",
            money(figures["commission"]),
        ),
    )
    machines = Section(
        "By machine",
        head=("Machine", "Receipts", "Commission", "To make up the minimum", "Amount"),
        rows=[
            (
                one["machine"],
                money(one["receipts"]),
                money(one["commission"]),
                money(one["minimum_added"]),
                money(one["amount"]),
            )
            for one in figures["machines"]
        ],
        total=(
            "Together",
            money(figures["receipts"]),
            money(figures["commission"]),
            money(figures["minimum_added"]),
            money(figures["amount"]),
        ),
    )
    due = Section(
        "What is due",
        head=("What", "Amount"),
        rows=[
            ("Commission and minimum", money(figures["amount"])),
            *(
                (
                    f"Correction of statement {one['of_statement']}: {one['reason']}",
                    money(one["amount"]),
                )
                for one in figures["carried"]
            ),
            *(
                (f"Carried over from statement {one['of_statement']}", money(one["amount"]))
                for one in carried_over(figures)
            ),
        ],
        total=("Due", money(statement.due)),
    )
    return Paper(
        name=f"statement-{statement.number}",
        title=f"Statement {statement.number} of commission",
        under=[
            business.name,
            f"To {statement.host_name or figures['site']}",
            f"{figures['site']}, {day(statement.starts_on)} to "
            f"{day(statement.ends_on - timedelta(days=1))}",
        ],
        sections=[
            Section("What was agreed", said=figures["terms_said"]),
            lines,
            machines,
            due,
            *([Section("To know", said=figures["said"])] if figures["said"] else []),
        ],
        foot=f"Issued {business.day_of(statement.issued_at)} - digest {statement.digest[:16]}",
    )
