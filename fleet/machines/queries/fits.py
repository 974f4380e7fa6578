"""What fits where: the pure computation fed with the business's own rows."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Case, Count, Prefetch, Value, When

from fleet.compute.charts import ChartEntry
from fleet.compute.fit import fit
from fleet.compute.rails import End
from fleet.compute.results import Fit, Verdict
from fleet.compute.rules import Rules
from fleet.compute.units import BadMeasure, Units
from people.models import Business

from ..geometry import board_of, package_of, position_of, rules_of, units_of
from ..models import Column, Kind, Machine, Package, Position, Product, SetUp
from .charts import Entries, Offsets, entries_for, learned_offsets

ORDER = (
    Verdict.FITS,
    Verdict.FITS_WITH_CAUTION,
    Verdict.CANNOT_TELL,
    Verdict.DOES_NOT_FIT,
)


@dataclass
class Bench:
    """All that fits of certain positions need, read once: rules, boards, offsets, charts."""

    rules: Rules
    units: Units
    boards: dict[int, Kind]
    offsets: Offsets
    entries: Entries
    _answers: dict[tuple[int, int], Fit] = field(default_factory=dict)

    @classmethod
    def for_kinds(cls, kind_ids: Iterable[int]) -> "Bench":
        """A fixed number of queries, however many positions the kinds have."""
        business = Business.the()
        rules = rules_of(business)
        kinds = Kind.objects.prefetch_related("programs", "positions").in_bulk(set(kind_ids))
        positions = [p.pk for kind in kinds.values() for p in kind.positions.all()]
        return cls(
            rules=rules,
            units=units_of(business),
            boards=kinds,
            offsets=learned_offsets(kinds, rules),
            entries=entries_for(positions),
        )

    @classmethod
    def for_columns(cls, columns: Sequence[Column]) -> "Bench":
        return cls.for_kinds({column.machine.kind_id for column in columns})

    def fit(self, position: Position, package: Package) -> Fit:
        """The whole answer, with learned offsets and chart entries. Computed once for each pair."""
        key = (position.pk, package.pk)
        if key not in self._answers:
            offsets = {
                end: learned.offset_mm
                for end, learned in self.offsets.get(position.kind_id, {}).items()
            }
            self._answers[key] = self._fit(position, package, offsets, self.entries.get(key, []))
        return self._answers[key]

    def plain_fit(self, position: Position, package: Package) -> Fit:
        """By measured geometry alone: what learned offsets are learned against."""
        return self._fit(position, package, {}, [])

    def _fit(
        self,
        position: Position,
        package: Package,
        offsets: dict[End, float],
        entries: list[ChartEntry],
    ) -> Fit:
        return fit(
            position_of(position, offsets),
            package_of(package),
            board_of(self.boards[position.kind_id]),
            self.rules,
            charts=entries,
            units=self.units,
        )


@dataclass(frozen=True)
class ProductFit:
    """One product's answer for a column."""

    product: Product
    fit: Fit


@dataclass(frozen=True)
class ColumnFit:
    """One column's answer for a product, and what it holds now."""

    column: Column
    fit: Fit
    set_up: SetUp | None


def fit_for(position: Position, package: Package) -> Fit:
    """The whole answer for one position and one package. Raises BadMeasure."""
    return Bench.for_kinds([position.kind_id]).fit(position, package)


def what_fits(column: Column, *, search: str = "") -> list[ProductFit]:
    """Every product still sold, best verdict first, with its whole answer for this column."""
    products = Product.objects.filter(sold=True).select_related("package")
    if search:
        products = products.filter(name__icontains=search)
    bench = Bench.for_columns([column])
    answers = [
        ProductFit(product, answer)
        for product in products.order_by("name", "pk")
        if (answer := _or_none(bench, column.position, product.package)) is not None
    ]
    return sorted(answers, key=lambda one: ORDER.index(one.fit.verdict))


@dataclass(frozen=True)
class WhereFits:
    """The columns asked for, best first, and how many columns of the fleet there are by verdict."""

    columns: tuple[ColumnFit, ...]
    counts: dict[Verdict, int]


def where_fits(
    product: Product,
    *,
    search: str = "",
    verdict: Verdict | None = None,
    limit: int | None = None,
) -> WhereFits:
    """The fleet's columns for a product: best verdict first, then by asset tag.

    Columns of one kind share its positions, so each position is judged once, and the database puts
    the columns in order and fetches only those that are shown: ten thousand columns cost about as
    much as a hundred. `search` is part of an asset tag; `verdict` narrows what is fetched, not
    what is counted.
    """
    fleet = Column.objects.exclude(machine__status=Machine.Status.RETIRED)
    if search:
        fleet = fleet.filter(machine__asset_tag__icontains=search)
    sizes = dict(fleet.order_by().values_list("position").annotate(Count("pk")))
    positions = Position.objects.in_bulk(sizes)
    bench = Bench.for_kinds({position.kind_id for position in positions.values()})
    answers = {
        pk: answer
        for pk, position in positions.items()
        if (answer := _or_none(bench, position, product.package)) is not None
    }
    by_verdict = {
        one: [pk for pk, answer in answers.items() if answer.verdict is one] for one in ORDER
    }
    wanted = ORDER if verdict is None else (verdict,)
    now = SetUp.objects.filter(ends_at__isnull=True).select_related("product__package")
    columns = (
        fleet.filter(position__in=[pk for one in wanted for pk in by_verdict[one]])
        .annotate(
            rank=Case(
                *(When(position__in=by_verdict[one], then=Value(ORDER.index(one))) for one in ORDER)
            )
        )
        .select_related("machine__kind", "position__kind", "selection")
        .prefetch_related(Prefetch("set_ups", queryset=now, to_attr="set_ups_now"))
        .order_by("rank", "machine__asset_tag", "position__order", "pk")
    )
    return WhereFits(
        columns=tuple(
            ColumnFit(column, answers[column.position_id], next(iter(column.set_ups_now), None))
            for column in columns[:limit]
        ),
        counts={one: sum(sizes[pk] for pk in by_verdict[one]) for one in ORDER if by_verdict[one]},
    )


def _or_none(bench: Bench, position: Position, package: Package) -> Fit | None:
    try:
        return bench.fit(position, package)
    except BadMeasure:
        return None  # sizes that contradict each other; the package's own page says so
