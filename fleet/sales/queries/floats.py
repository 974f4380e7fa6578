"""Change that lies out: in coin tubes and with hosts."""

from decimal import Decimal

from django.db.models import Max, QuerySet, Sum

from fleet.machines.models import Machine, Site
from people.errors import NotFound
from people.models import Person

from ..models import HostFloatLine, TubeFill
from .bags import COUNTERS


def float_of(site: Site) -> Decimal:
    """What a host's float holds by its lines; below zero the host is owed so much."""
    total = HostFloatLine.objects.filter(site=site).aggregate(total=Sum("amount"))["total"]
    return total or Decimal(0)


def floats() -> "QuerySet[Site]":
    """Sites whose hosts keep a float, with what it holds by its lines and when it last changed."""
    return (
        Site.objects.filter(float_lines__isnull=False)
        .annotate(held=Sum("float_lines__amount"), last_at=Max("float_lines__at"))
        .order_by("name", "pk")
    )


def has_float(site: Site) -> bool:
    """Whether a host was ever given change for refunds."""
    return HostFloatLine.objects.filter(site=site).exists()


def float_lines() -> "QuerySet[HostFloatLine]":
    """Lines of hosts' floats, the latest first."""
    rows = HostFloatLine.objects.select_related("site", "by", "from_bag")
    return rows.order_by("-at", "-pk")


def tube_fills(machine: Machine | None = None) -> "QuerySet[TubeFill]":
    """Change put into tubes or taken out by hand, the latest first."""
    rows = TubeFill.objects.select_related("machine", "by", "from_bag").order_by("-at", "-pk")
    return rows if machine is None else rows.filter(machine=machine)


def float_line_for(person: Person, pk: int) -> HostFloatLine:
    """A line of a host's float, for those who see takings. Raises NotFound."""
    row = float_lines().filter(pk=pk).first() if person.has_role(*COUNTERS) else None
    if row is None:
        raise NotFound(f"there is no line of a host's float {pk}")
    return row


def tube_fill_for(person: Person, pk: int) -> TubeFill:
    """Change put into or taken out of tubes, for those who see takings. Raises NotFound."""
    row = tube_fills().filter(pk=pk).first() if person.has_role(*COUNTERS) else None
    if row is None:
        raise NotFound(f"there is no change in tubes {pk}")
    return row
