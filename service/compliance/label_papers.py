"""Calorie signs as a paper to print and hang at machines."""

from collections.abc import Sequence
from typing import Final

from people.papers import Paper, Section

from .queries.labels import Sheet

TYPE_SIZE: Final = (
    "Print it so that no type is smaller than the smallest of the item's name, price or selection "
    "number on the machine (21 CFR 101.8; from memory)."
)
BY_THE_PACKAGE: Final = "Calories are of the whole package as sold, rounded by 21 CFR 101.9(c)(1)."


def signs(sheets: Sequence[Sheet], contact: str) -> Paper:
    """One section a machine; products without known calories say so and are not left out."""
    sections = []
    for sheet in sheets:
        place = "" if sheet.placement is None else f", {sheet.placement.site}"
        said = [BY_THE_PACKAGE]
        if sheet.missing:
            said.append("Do not hang this up before every value stands in it.")
        sections.append(
            Section(
                heading=f"{sheet.machine}{place}",
                said=said,
                head=("Selection", "Product", "Calories"),
                rows=[
                    (
                        ", ".join(line.selections),
                        line.product.name,
                        "not known" if line.declared is None else line.declared,
                    )
                    for line in sheet.lines
                ],
                widths=(2, 6, 2),
            )
        )
    under = [TYPE_SIZE] if not contact else [contact, TYPE_SIZE]
    return Paper("calories", "Calories", under=under, sections=sections, foot=contact)
