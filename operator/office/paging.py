"""Pages of a long list by key: the next page is found by an index, however far down it lies."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from django.db.models import Model, QuerySet
from django.http import QueryDict

Row = TypeVar("Row", bound=Model)
SIZE = 50


@dataclass(frozen=True)
class Page(Generic[Row]):
    """Rows, and the keys to ask the neighbours by; None where there is none."""

    rows: Sequence[Row]
    after: str | None
    before: str | None


def page_of(rows: "QuerySet[Row]", asked: QueryDict, *, key: str, size: int = SIZE) -> Page[Row]:
    """The page that `?after=` or `?before=` names, of rows ordered by the unique column `key`."""
    after, before = asked.get("after", ""), asked.get("before", "")
    if before:
        found = list(rows.filter(**{f"{key}__lt": before}).order_by(f"-{key}")[: size + 1])
        more = len(found) > size
        shown = found[:size][::-1]
        return Page(
            shown,
            after=_key(shown[-1], key) if shown else None,
            before=_key(shown[0], key) if shown and more else None,
        )
    if after:
        rows = rows.filter(**{f"{key}__gt": after})
    found = list(rows.order_by(key)[: size + 1])
    shown = found[:size]
    return Page(
        shown,
        after=_key(shown[-1], key) if len(found) > size else None,
        before=_key(shown[0], key) if after and shown else None,
    )


def _key(row: Model, key: str) -> str:
    return str(getattr(row, key))
