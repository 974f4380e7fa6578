"""The fleet as lists and pages show it, in a fixed number of queries whatever its size."""

from datetime import datetime

from django.db.models import Prefetch, Q, QuerySet

from ..models import Changeover, Column, Machine, Placement, SetUp


def machines_listed(
    *,
    search: str = "",
    site: int | None = None,
    kind: int | None = None,
    status: str = "",
    product: int | None = None,
) -> "QuerySet[Machine]":
    """Machines with kind and present placement; filters add up."""
    rows = Machine.objects.select_related("kind").prefetch_related(
        Prefetch("placements", queryset=placements_now(), to_attr="placements_now")
    )
    now = Q(placements__ends_at__isnull=True)
    if search:
        rows = rows.filter(
            Q(asset_tag__icontains=search)
            | Q(serial__icontains=search)
            | Q(
                placements__in=Placement.objects.filter(
                    ends_at__isnull=True, site__name__icontains=search
                )
            )
        )
    if site is not None:
        rows = rows.filter(now, placements__site=site)
    if kind is not None:
        rows = rows.filter(kind=kind)
    if status:
        rows = rows.filter(status=status)
    if product is not None:
        holding = SetUp.objects.filter(product=product, ends_at__isnull=True)
        rows = rows.filter(pk__in=holding.values("column__machine"))
    return rows.distinct().order_by("asset_tag", "pk")


def placements_now() -> "QuerySet[Placement]":
    """Where each machine stands now."""
    return Placement.objects.filter(ends_at__isnull=True).select_related("site").order_by("pk")


def columns_of(machine: Machine) -> "QuerySet[Column]":
    """A machine's columns in order, each with its set-up now and its open changeover."""
    return (
        machine.columns.select_related("position__kind", "selection", "machine__kind")
        .prefetch_related(
            Prefetch("set_ups", queryset=set_ups_now(), to_attr="set_ups_now"),
            Prefetch(
                "changeovers",
                queryset=Changeover.objects.filter(state__in=["planned", "in_hand"]).select_related(
                    "product", "plan"
                ),
                to_attr="changeovers_open",
            ),
        )
        .order_by("position__order", "pk")
    )


def set_ups_now() -> "QuerySet[SetUp]":
    """Set-ups in force now, with what they hold."""
    return (
        SetUp.objects.filter(ends_at__isnull=True)
        .select_related("product__package", "program")
        .order_by("column_id", "pk")
    )


def set_ups_of(machine: Machine) -> "QuerySet[SetUp]":
    """Every set-up of a machine's columns, latest first."""
    return (
        SetUp.objects.filter(column__machine=machine)
        .select_related("column__position", "product", "program")
        .order_by("-starts_at", "column__position__order", "pk")
    )


def set_ups_at(machine_ids: list[int], moment: datetime) -> "QuerySet[SetUp]":
    """The set-ups in force at a moment."""
    return (
        SetUp.objects.filter(column__machine__in=machine_ids, starts_at__lte=moment)
        .filter(Q(ends_at__isnull=True) | Q(ends_at__gt=moment))
        .select_related("product")
        .order_by("column_id", "pk")
    )


def changeovers_open() -> "QuerySet[Changeover]":
    """Planned and in hand, by day."""
    return (
        Changeover.objects.filter(state__in=["planned", "in_hand"])
        .select_related("plan", "column__machine", "column__position", "product", "taken_by")
        .order_by("plan__planned_for", "plan_id", "column__machine__asset_tag", "pk")
    )
