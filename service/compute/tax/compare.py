"""Two sets of figures of one report set side by side, figure by figure."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from .lines import SUMMED

NONE: Final = "none"
_OF_LINE: Final = ("units", *SUMMED)


@dataclass(frozen=True)
class Difference:
    """One figure that is another the second time. `where` names its line in words."""

    where: str
    figure: str
    was: str
    again: str


def differences(was: Mapping[str, Any], again: Mapping[str, Any]) -> tuple[Difference, ...]:
    """Every figure in which two reports as plain data (`frozen.figures`) are not the same.

    Totals, what is due to whom, lines with what of them is due to whom, and decals. 1.5 and 1.50
    are one figure. Words (`said`, `why`, titles) are no figures and are not compared.
    """
    one, other = dict(_figures(was)), dict(_figures(again))
    found = []
    for key in [*one, *(key for key in other if key not in one)]:
        before, after = one.get(key, NONE), other.get(key, NONE)
        if before != after and not _same_figure(before, after):
            found.append(Difference(key[0], key[1], before, after))
    return tuple(found)


def _same_figure(one: str, other: str) -> bool:
    return NONE not in (one, other) and Decimal(one) == Decimal(other)


def _figures(said: Mapping[str, Any]) -> Iterator[tuple[tuple[str, str], str]]:
    """Each figure with its place in words; lines of one place and rule are told apart by number."""
    for name in _OF_LINE:
        yield ("all", name), str(said["totals"][name])
    for code, tax in said["due"].items():
        yield ("due", code), str(tax)
    seen: dict[str, int] = {}
    for line in said["lines"]:
        where = ", ".join(
            (line["state"] or "no place", *line["names"], line["class"], line["rule"] or "no rule")
        )
        where = f"{where}, {line['rate']}"
        seen[where] = seen.get(where, 0) + 1
        if seen[where] > 1:
            where = f"{where} ({seen[where]})"
        for name in _OF_LINE:
            yield (where, name), str(line[name])
        yield (where, "cost"), NONE if line["cost"] is None else str(line["cost"])
        for number, part in enumerate(line["due"], start=1):
            yield (where, f"due {number}, {part['code']}"), str(part["tax"])
    for decal in said.get("decals", ()):
        where = f"{decal['state']}, {decal['rule']}, decal of {decal['each']}"
        yield (where, "machines"), str(decal["machines"])
