"""What each selection sold between two reads."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from fleet.compute.intervals.counting import How, Resets, since_reset_step, step
from fleet.compute.intervals.dry import ran_dry
from fleet.compute.intervals.figures import LINE_FIGURES
from fleet.compute.intervals.interval import (
    LineSold,
    Matched,
    Note,
    PaymentSold,
    Sold,
    Treatment,
)
from fleet.compute.intervals.payments import (
    cut_payments,
    ever_moduli,
    exchanged_moduli,
    payments_from_zero,
)
from fleet.compute.intervals.snapshot import SelectionReading, Snapshot

_VALUES: Final = tuple(index for index, figure in enumerate(LINE_FIGURES) if figure.is_money)
_NO_HOW: Final[tuple[tuple[str, How], ...]] = ()
_NOTHING: Final = Sold()
#: Most selections sell a few at one price between two reads: the same few values over and over.
_sold: Final = lru_cache(maxsize=4096)(Sold)

_How = tuple[tuple[str, How], ...]
_Pair = tuple[SelectionReading | None, SelectionReading, Matched]


@dataclass(slots=True)
class LineCut:
    """How the lines of one pair of reads are to be cut, and the notes taken on the way."""

    before: Snapshot
    after: Snapshot
    treatment: Treatment
    resets: Resets
    ceilings: Sequence[int | None]
    money_compares: bool
    sold_out_date_is_last_sale: bool
    notes: list[Note] = field(default_factory=list)

    def lines(self) -> list[LineSold]:
        """One line for every selection of either read, in the order of the later read."""
        moduli = _line_moduli(self.after)
        payment_moduli = (
            exchanged_moduli() if "PA7" in self.after.swapped_segments else ever_moduli()
        )
        pairs, gone = self._pairs()
        lines = [
            self._line(old, new, matched, moduli, payment_moduli) for old, new, matched in pairs
        ]
        for old in gone:
            self._note("selection_vanished", "Not in the later read.", old)
            lines.append(
                LineSold(
                    old.selection, old.ordinal, Matched.VANISHED, old.price_minor, None, _NOTHING
                )
            )
        return lines

    def _pairs(self) -> tuple[list[_Pair], list[SelectionReading]]:
        """Each selection of the later read with its counterpart, and those that have none there.

        By the very id first, then by the id normalised where that leaves no choice.
        """
        before, after = self.before.selections, self.after.selections
        if len(before) == len(after) and all(map(_same_id, before, after)):
            return [(old, new, Matched.EXACT) for old, new in zip(before, after, strict=True)], []
        left = {(line.selection, line.ordinal): line for line in before}
        pairs: list[_Pair] = []
        for new in after:
            old = left.pop((new.selection, new.ordinal), None)
            pairs.append((old, new, Matched.APPEARED if old is None else Matched.EXACT))
        for index, (old, found, _) in enumerate(pairs):
            if old is not None:
                continue
            twin = self._normalised_twin(found, list(left.values()), after)
            if twin is not None:
                del left[twin.selection, twin.ordinal]
                pairs[index] = (twin, found, Matched.NORMALISED)
                self._note(
                    "id_matched_normalised",
                    f"Selection {found.selection!r} is taken for {twin.selection!r} of the "
                    "read before.",
                    found,
                )
            else:
                self._note("selection_appeared", "Not in the read before.", found)
        return pairs, list(left.values())

    def _normalised_twin(
        self,
        new: SelectionReading,
        left: Sequence[SelectionReading],
        after: Sequence[SelectionReading],
    ) -> SelectionReading | None:
        plain = _plain(new.selection)
        twins = [old for old in left if _plain(old.selection) == plain]
        rivals = [line for line in after if _plain(line.selection) == plain]
        return twins[0] if len(twins) == 1 and len(rivals) == 1 else None

    def _line(
        self,
        old: SelectionReading | None,
        new: SelectionReading,
        matched: Matched,
        moduli: Sequence[int],
        payment_moduli: tuple[int, int],
    ) -> LineSold:
        payments: tuple[PaymentSold, ...] = ()
        sold, how = _NOTHING, _NO_HOW
        if self.treatment is Treatment.COUNTED_FROM_ZERO:
            sold = Sold(*self._money(list(new.ever)))
            how = (("paid_count", How.FROM_ZERO),)
            payments = payments_from_zero(new.payments)
        elif self.treatment in (Treatment.COUNTED, Treatment.CARRIED_ON):
            if old is None:
                sold = _NOTHING if any(new.ever) else Sold(*new.ever)
            else:
                amounts, how = self._amounts(old, new, moduli)
                sold = _sold(*amounts)
                payments = cut_payments(
                    old.payments,
                    new.payments,
                    (amounts[0], amounts[1]),
                    self.resets,
                    payment_moduli,
                )
                if how or payments:
                    self._remark(new, sold, how, payments)
        if not self.money_compares:
            payments = ()
        return LineSold(
            new.selection,
            new.ordinal,
            matched,
            None if old is None else old.price_minor,
            new.price_minor,
            sold,
            payments,
            ran_dry(
                self.before,
                self.after,
                old,
                new,
                sold_out_date_is_last_sale=self.sold_out_date_is_last_sale,
            ),
            how,
        )

    def _amounts(
        self, old: SelectionReading, new: SelectionReading, moduli: Sequence[int]
    ) -> tuple[list[int | None], _How]:
        amounts: list[int | None] = []
        odd = old.paid_from_payments != new.paid_from_payments
        for earlier, later, since_reset in zip(old.ever, new.ever, new.since_reset, strict=True):
            if earlier is None or later is None:
                amounts.append(None)
                if earlier is not later or since_reset is not None:
                    odd = True
            elif later >= earlier:
                amounts.append(later - earlier)
            else:
                odd = True
                break
        if odd:
            amounts, how = self._odd_amounts(old, new, moduli)
            return self._money(amounts), how
        return (amounts if self.money_compares else self._money(amounts)), _NO_HOW

    def _odd_amounts(
        self, old: SelectionReading, new: SelectionReading, moduli: Sequence[int]
    ) -> tuple[list[int | None], _How]:
        """The careful way, for a line with a blank, a wrap, or a counter that went back."""
        amounts: list[int | None] = []
        told: list[tuple[str, How]] = []
        for index, figure in enumerate(LINE_FIGURES):
            if index < 2 and old.paid_from_payments != new.paid_from_payments:
                # PA2 in one read and the sum over PA7 in the other need not start alike.
                amounts.append(None)
                told.append((figure.name, How.BLANK))
                continue
            went = step(old.ever[index], new.ever[index], moduli[index], self.ceilings[index])
            if went.how is How.BLANK:
                went = since_reset_step(old.since_reset[index], new.since_reset[index], self.resets)
            amounts.append(went.amount)
            sent = old.ever[index] is not None or new.ever[index] is not None
            if went.how is not How.COUNTED and (sent or went.how is not How.BLANK):
                told.append((figure.name, went.how))
        return amounts, tuple(told)

    def _money(self, amounts: list[int | None]) -> list[int | None]:
        if not self.money_compares:
            for index in _VALUES:
                amounts[index] = None
        return amounts

    def _remark(
        self, new: SelectionReading, sold: Sold, how: _How, payments: Sequence[PaymentSold]
    ) -> None:
        if how:
            by_code: dict[str, list[str]] = {}
            for figure, way in how:
                by_code.setdefault(_CODES[way], []).append(figure)
            for code, figures in by_code.items():
                self._note(code, f"{_WORDS[code]}: {', '.join(figures)}.", new)
        if sold.paid_count is None or not payments:
            return
        counted = 0
        for line in payments:
            if line.count is None:
                self._note(
                    "payments_unknown", "Which device took some of its payments is unknown.", new
                )
                return
            counted += line.count
        if counted != sold.paid_count:
            self._note(
                "payments_differ",
                f"Payment lines (PA7) count {counted} vends, the selection (PA2) "
                f"{sold.paid_count}.",
                new,
            )

    def _note(self, code: str, text: str, line: SelectionReading) -> None:
        self.notes.append(Note(code, text, line.selection))


_CODES: Final = {
    How.WRAPPED: "counter_wrapped",
    How.SINCE_RESET: "counted_since_reset",
    How.FROM_ZERO: "counted_from_zero",
    How.BLANK: "counter_blank",
    How.WENT_BACK: "counter_went_back",
}
_WORDS: Final = {
    "counter_wrapped": "Passed the top of the counter's range and began again",
    "counted_since_reset": "The never-reset counter is blank; taken from the since-reset one",
    "counted_from_zero": "Counted from zero",
    "counter_blank": "Blank in one of the two reads; not known",
    "counter_went_back": "Lower than in the read before; not known",
}


def _line_moduli(after: Snapshot) -> tuple[int, ...]:
    return tuple(
        figure.reset_modulus if figure.code[:-2] in after.swapped_segments else figure.modulus
        for figure in LINE_FIGURES
    )


def _same_id(old: SelectionReading, new: SelectionReading) -> bool:
    return old.selection == new.selection and old.ordinal == new.ordinal


def _plain(selection: str) -> str:
    """An id as a person would take it: without blanks, capitals or leading zeros."""
    return selection.strip().upper().lstrip("0") or "0"
