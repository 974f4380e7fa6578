"""What as-left settings have taught: offsets of rails, and settings that worked."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Count, F, QuerySet

from fleet.compute import charts
from fleet.compute.candidates import candidates_for
from fleet.compute.positions import SpiralPosition
from fleet.compute.rails import End
from fleet.compute.results import Candidate, Source
from fleet.compute.rules import Rules
from fleet.compute.units import BadMeasure, Units

from ..geometry import package_of, position_of
from ..models import Changeover, ChartEntry, Package, Position

Offsets = dict[int, dict[End, charts.LearnedOffset]]
Entries = dict[tuple[int, int], list[charts.ChartEntry]]


def taught() -> "QuerySet[Changeover]":
    """Changeovers that teach: done, every test vend passed, left as deep as computed."""
    return Changeover.objects.filter(
        state=Changeover.State.DONE,
        test_vends_made__gt=0,
        test_vends_passed=F("test_vends_made"),
        as_left_deep=F("deep"),
    )


def learned_offsets(kind_ids: Iterable[int], rules: Rules) -> Offsets:
    """The robust offset of each rail of these kinds, where enough changeovers passed. One query."""
    rows = (
        taught()
        .filter(column__position__kind__in=kind_ids)
        .select_related("column__position", "product__package")
    )
    geometry = _Geometry(rules)
    records = [
        record
        for row in rows
        for end in End
        if geometry.still_gives(row, end)
        and (record := _as_left(row, row.column.position, end)) is not None
    ]
    found: Offsets = defaultdict(dict)
    for (kind, rail), offset in charts.learn_offsets(records, rules).items():
        found[int(kind)][End(rail)] = offset
    return dict(found)


def entries_for(position_ids: Iterable[int], package_ids: Iterable[int] | None = None) -> Entries:
    """Chart entries by (position, package): measured, typed from a label, and learned.

    Two queries.
    """
    keys = list(position_ids)
    typed = ChartEntry.objects.filter(position__in=keys)
    learned = taught().filter(column__position__in=keys)
    if package_ids is not None:
        packages = list(package_ids)
        typed = typed.filter(package__in=packages)
        learned = learned.filter(product__package__in=packages)
    found: Entries = defaultdict(list)
    for entry in typed:
        found[entry.position_id, entry.package_id].append(
            charts.ChartEntry(
                source=Source(entry.source),
                deep=entry.deep,
                front_notch=entry.front_setting,
                rear_notch=entry.rear_setting,
            )
        )
    settings = ("as_left_deep", "as_left_front", "as_left_rear", "as_left_program__name")
    groups = (
        learned.order_by()
        .values("column__position", "product__package", *settings)
        .annotate(count=Count("pk"))
        .order_by("column__position", "product__package", "-count", *settings)
    )
    for group in groups:
        if group["as_left_front"] is None and group["as_left_rear"] is None:
            continue
        found[group["column__position"], group["product__package"]].append(
            charts.ChartEntry(
                source=Source.LEARNED,
                deep=group["as_left_deep"],
                front_notch=group["as_left_front"],
                rear_notch=group["as_left_rear"],
                program=group["as_left_program__name"],
                count=group["count"],
            )
        )
    return dict(found)


class _Geometry:
    """Whether measures still give the notch a changeover was planned from.

    Where they do not, the position or the package was measured anew since, and what was learned of
    the old measures would be added to the new ones.
    """

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self._found: dict[tuple[int, int], dict[int, Candidate]] = {}

    def still_gives(self, row: Changeover, end: End) -> bool:
        found = self._candidates(row.column.position, row.product.package).get(row.deep)
        setting = None if found is None else found.front if end is End.FRONT else found.rear
        return setting is not None and setting.notch == getattr(row, f"geometry_{end.value}")

    def _candidates(self, position: Position, package: Package) -> dict[int, Candidate]:
        key = (position.pk, package.pk)
        if key not in self._found:
            self._found[key] = self._computed(position, package)
        return self._found[key]

    def _computed(self, position: Position, package: Package) -> dict[int, Candidate]:
        try:
            place, shape = position_of(position), package_of(package)
        except BadMeasure:
            return {}
        if isinstance(place, SpiralPosition):
            return {}
        found = candidates_for(place, shape, self.rules, Units.MILLIMETRES)
        return {one.deep: one for one in found}


def _as_left(row: Changeover, position: Position, end: End) -> charts.AsLeft | None:
    left = getattr(row, f"as_left_{end.value}")
    computed = getattr(row, f"geometry_{end.value}")
    if left is None or computed is None:
        return None
    nominal = position_of(position)
    half = getattr(nominal, end.value)
    if half is None or not (0 <= left < half.rail.notches and 0 <= computed < half.rail.notches):
        return None  # the rail was measured anew since, with fewer notches
    return charts.AsLeft(
        kind=str(position.kind_id),
        rail=end.value,
        as_left_mm=half.rail.distance_mm(left),
        computed_mm=half.rail.distance_mm(computed),
        test_vends_asked=row.test_vends_made or 0,
        test_vends_passed=row.test_vends_passed or 0,
    )
