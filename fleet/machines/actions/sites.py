"""Sites and their opening windows."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from people import audit, rows
from people.errors import Unacceptable
from people.models import Person

from ..models import OpeningWindow, Site


@transaction.atomic
def save_site(
    *,
    actor: Person,
    now: datetime,
    changes: Mapping[str, Any],
    opening_windows: Sequence[Mapping[str, Any]] | None = None,
    site: Site | None = None,
) -> Site:
    """Add or change a site. A given list of opening windows is whole. Raises Unacceptable."""
    verb = "add site" if site is None else "change site"
    saved = rows.put(site or Site(), changes, actor=actor, verb=verb, now=now)
    if opening_windows is not None:
        _replace_windows(saved, opening_windows, actor=actor, now=now)
    return saved


def _replace_windows(
    site: Site, wanted: Sequence[Mapping[str, Any]], *, actor: Person, now: datetime
) -> None:
    windows = [OpeningWindow(site=site, **one) for one in wanted]
    for index, window in enumerate(windows):
        if window.closes <= window.opens:
            message = f"closes at {window.closes:%H:%M}, which is not after it opens"
            raise Unacceptable(message, fields={f"opening_windows.{index}.closes": message})
        for other in windows[:index]:
            if (
                other.weekday == window.weekday
                and other.opens < window.closes
                and window.opens < other.closes
            ):
                message = f"overlaps {other}"
                raise Unacceptable(message, fields={f"opening_windows.{index}.opens": message})
    before = sorted(str(window) for window in site.opening_windows.all())
    after = sorted(str(window) for window in windows)
    if before == after:
        return
    site.opening_windows.all().delete()
    OpeningWindow.objects.bulk_create(windows)
    Site.objects.filter(pk=site.pk).update(updated_at=now)
    site.updated_at = now
    audit.record(
        actor=actor,
        verb="change opening windows",
        row=site,
        now=now,
        before={"opening_windows": before},
        after={"opening_windows": after},
    )
