"""Pages of a long list by key: the next page is found by an index, however far down it lies."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from django.db.models import Model, Q, QuerySet
from django.http import QueryDict
from django.utils.dateparse import parse_datetime

Row = TypeVar("Row", bound=Model)
SIZE = 50
LAST = 2**63 - 1  # of a bigint


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


@dataclass(frozen=True)
class Latest(Generic[Row]):
    """Rows from the latest on, and what to ask the older ones by; None where there are none."""

    rows: Sequence[Row]
    older: str | None
    is_first: bool


def latest_of(
    rows: "QuerySet[Row]", asked: QueryDict, *, moment: str, size: int = SIZE
) -> Latest[Row]:
    """The page that `?older=` names, of rows by a moment and their key, the latest first."""
    told, _, key = asked.get("older", "").partition("~")
    at = _moment(told) if key.isascii() and key.isdecimal() else None
    if at is not None:
        same = Q(**{moment: at, "pk__lt": min(int(key[:20]), LAST)})
        rows = rows.filter(Q(**{f"{moment}__lt": at}) | same)
    found = list(rows.order_by(f"-{moment}", "-pk")[: size + 1])
    shown = found[:size]
    more = len(found) > size
    older = f"{getattr(shown[-1], moment).isoformat()}~{shown[-1].pk}" if more else None
    return Latest(shown, older, is_first=at is None)


def _moment(told: str) -> datetime | None:
    """The moment that an address tells; None for what is none, which shows the latest."""
    try:
        found = parse_datetime(told.replace(" ", "+"))
    except ValueError:
        return None
    return found if found is not None and found.tzinfo is not None else None


def _key(row: Model, key: str) -> str:
    return str(getattr(row, key))
