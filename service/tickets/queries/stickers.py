"""Stickers: whose is the token that somebody's phone has read, and which machines have one."""

from django.db.models import OuterRef, Q, QuerySet, Subquery

from fleet.machines.models import Machine, Site
from people.errors import NotFound

from ..models import Sticker
from ..signed import code_of


class Withdrawn(NotFound):
    """A sticker that was once in use; a newer one hangs on the machine, or should."""

    code = "sticker_withdrawn"


def sticker_for(token: str) -> Sticker:
    """The sticker of a token, with its machine. Raises Withdrawn, NotFound."""
    code = code_of(token)
    found = None
    if code is not None:
        found = Sticker.objects.select_related("machine").filter(code=code).first()
    if found is None:
        raise NotFound("there is no such sticker")
    if found.withdrawn_at is not None or found.machine.status == Machine.Status.RETIRED:
        raise Withdrawn("this sticker is not in use any more")
    return found


def site_of(machine: Machine) -> Site | None:
    """Where a machine stands now."""
    placement = machine.placements.filter(ends_at__isnull=True).select_related("site").first()
    return None if placement is None else placement.site


def machines_with_stickers(text: str = "") -> "QuerySet[Machine]":
    """Machines in use with `sticker_at` (None: it has none), and where they stand, in order."""
    in_use = Sticker.objects.filter(machine=OuterRef("pk"), withdrawn_at__isnull=True)
    rows = (
        Machine.objects.exclude(status=Machine.Status.RETIRED)
        .annotate(sticker_at=Subquery(in_use.values("issued_at")[:1]))
        .order_by("asset_tag", "pk")
    )
    words = text.strip()
    if words:
        here = Q(placements__ends_at__isnull=True, placements__site__name__icontains=words)
        rows = rows.filter(Q(asset_tag__icontains=words) | here).distinct()
    return rows
