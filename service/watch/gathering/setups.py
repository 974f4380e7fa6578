"""What a column's own set-up says of it: depth program, play, package against the chart."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from fleet.compute import rails
from fleet.compute.positions import Half, StackPosition
from fleet.compute.results import Hold
from fleet.compute.settings import holds_by_neck, plate_hold
from fleet.compute.timing import outlook
from fleet.compute.units import BadMeasure
from fleet.machines.geometry import board_of, package_of, position_of
from fleet.machines.models import ChartEntry, Column, SetUp
from fleet.machines.queries.fits import Bench

#: Notches by which the chart may differ before that is told: a hand may choose the one beside.
SAME_NOTCH = 1


@dataclass(frozen=True)
class SetUps:
    """The present set-ups of some columns with all that judging them needs."""

    by_column: Mapping[int, SetUp]
    bench: Bench
    chart: Mapping[int, Sequence[ChartEntry]] = field(default_factory=dict)

    @classmethod
    def of(cls, columns: Sequence[int]) -> "SetUps":
        """Some ten queries, however many columns."""
        rows = SetUp.objects.filter(column__in=columns, ends_at__isnull=True).select_related(
            "column__position__kind", "column__machine__kind", "product__package", "program"
        )
        by_column = {row.column_id: row for row in rows}
        positions = {row.column.position_id for row in by_column.values()}
        chart: dict[int, list[ChartEntry]] = {}
        for entry in (
            ChartEntry.objects.filter(position__in=positions)
            .select_related("package")
            .order_by("position", "pk")
        ):
            chart.setdefault(entry.position_id, []).append(entry)
        held: list[Column] = [row.column for row in by_column.values()]
        return cls(by_column, Bench.for_columns(held), chart)

    def facts(self, column: int) -> dict[str, Any]:
        """What is known of one column, by the names of ColumnFacts; {} where nothing is set up."""
        row = self.by_column.get(column)
        if row is None:
            return {}
        found: dict[str, Any] = {
            "deep_loaded": row.deep,
            "has_drop_sensor": row.column.position.kind.drop_sensor,
            "least_play_mm": self.bench.rules.least_play_mm,
            "most_play_mm": self.bench.rules.most_play_mm,
            "chart_length_mm": self._chart_length(row),
        }
        if row.product.package.length_mm is not None:
            found["package_length_mm"] = float(row.product.package.length_mm)
        # Sizes that contradict each other tell nothing; the package's own page says so.
        with suppress(BadMeasure):
            found |= self._program(row) | self._play(row) | self._dispute(row)
        return found

    def _program(self, row: SetUp) -> dict[str, Any]:
        if row.program is None:
            return {}
        board = board_of(self.bench.boards[row.column.position.kind_id])
        program = next((one for one in board.programs if one.name == row.program.name), None)
        if program is None:
            return {"deep_programmed": row.program.deep}
        seen = outlook(program, row.deep, board, self.bench.rules)
        return {"deep_programmed": row.program.deep, "program_risk": seen.risk}

    def _play(self, row: SetUp) -> dict[str, Any]:
        """Play behind the products at the notches as they are set; of a spacer in a neck, none."""
        offsets = {
            end: one.offset_mm
            for end, one in self.bench.offsets.get(row.column.position.kind_id, {}).items()
        }
        place = position_of(row.column.position, offsets)
        if not isinstance(place, StackPosition):
            return {}
        found = {}
        for end, half in place.halves():
            notch = row.front_setting if end is rails.End.FRONT else row.rear_setting
            play = self._play_at(row, end, half, notch)
            if play is not None:
                found[f"play_{end.value}_mm"] = play
        return found

    def _play_at(self, row: SetUp, end: rails.End, half: Half, notch: int | None) -> float | None:
        package = package_of(row.product.package)
        if notch is None or package.length_mm is None or not 0 <= notch < half.rail.notches:
            return None
        at = half.rail.distance_mm(notch)
        play = at - row.deep * package.length_mm
        by_cap = plate_hold(end, package) is Hold.CAP
        in_neck = holds_by_neck(end, package, row.deep, self.bench.rules) and play < 0
        # A pair at a cap or in a neck has a band of its own; only what binds is told of the cap.
        return None if in_neck or (by_cap and play >= 0) else play

    def _chart_length(self, row: SetUp) -> float | None:
        """Length of the package for which the chart has these settings; of the own one if it does.

        A new product put in the place of a longer one keeps its settings.
        """
        lengths = [
            float(entry.package.length_mm)
            for entry in self.chart.get(row.column.position_id, ())
            if entry.deep == row.deep
            and entry.front_setting in (None, row.front_setting)
            and entry.rear_setting in (None, row.rear_setting)
            and entry.package.length_mm is not None
        ]
        own = row.product.package.length_mm
        if not lengths or own is None:
            return None
        return min(lengths, key=lambda one: abs(one - float(own)))

    def _dispute(self, row: SetUp) -> dict[str, Any]:
        """Whether the settings are others than the fit has for this product here."""
        fit = self.bench.fit(row.column.position, row.product.package)
        if fit.deep != row.deep:
            return {}
        off = [
            abs(set_to - computed.notch)
            for set_to, computed in (
                (row.front_setting, fit.front),
                (row.rear_setting, fit.rear),
            )
            if set_to is not None and computed is not None
        ]
        return {"fitted_dispute": max(off) > SAME_NOTCH} if off else {}
