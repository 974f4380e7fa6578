"""A selection's paid vends by payment device: the breakdown in PA7, never added to paid."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from fleet.compute.intervals.counting import How, Resets, since_reset_step, step
from fleet.compute.intervals.figures import PAYMENT_COUNT, PAYMENT_VALUE
from fleet.compute.intervals.interval import PaymentSold
from fleet.compute.intervals.snapshot import PaymentReading

#: Most vends of a day are a few of one selection at its price: the same few values over and over.
_payment_sold: Final = lru_cache(maxsize=4096)(PaymentSold)


def cut_payments(
    before: Sequence[PaymentReading],
    after: Sequence[PaymentReading],
    paid: tuple[int | None, int | None],
    resets: Resets,
    moduli: tuple[int, int],
) -> tuple[PaymentSold, ...]:
    """What each payment line took, given what the selection took in all (`paid`: count, money).

    A line that is new, or has another price, may have started from zero or gone on under the new
    price: the selection's own count decides between the two, and if it fits neither the line stays
    unknown. Lines are told apart by device, price list and price.
    """
    if not after:
        return ()
    plain = _plain(before, after)
    if plain is not None:
        return plain
    matched, dropped, added = _match(before, after)
    lines = [_went_on(old, new, resets, moduli) for old, new in matched]
    if added:
        fresh = [_from_zero(new) for new in added]
        repriced = _repriced(dropped, added, resets, moduli)
        for reading in (fresh, repriced):
            if _accounts_for([*lines, *reading], paid):
                return (*lines, *reading)
        lines += [
            PaymentSold(new.device, new.price_list, new.price_minor, None, None, How.BLANK)
            for new in added
        ]
    return tuple(lines)


def payments_from_zero(after: Sequence[PaymentReading]) -> tuple[PaymentSold, ...]:
    """The payment lines of a device that was new."""
    return tuple(_from_zero(new) for new in after)


def ever_moduli() -> tuple[int, int]:
    """The moduli of a payment line's never-reset count and money."""
    return PAYMENT_COUNT.modulus, PAYMENT_VALUE.modulus


def exchanged_moduli() -> tuple[int, int]:
    """The same for a machine that sends the halves of PA7 the wrong way round."""
    return PAYMENT_COUNT.reset_modulus, PAYMENT_VALUE.reset_modulus


def _plain(
    before: Sequence[PaymentReading], after: Sequence[PaymentReading]
) -> tuple[PaymentSold, ...] | None:
    """The same lines in the same order, none blank and none lower; None if it is not so plain.

    Nearly every pair of reads goes this way, so it builds no more than the answer.
    """
    if len(before) != len(after):
        return None
    lines = []
    for old, new in zip(before, after, strict=True):
        device, price = new.device, new.price_minor
        if device != old.device or price != old.price_minor or new.price_list != old.price_list:
            return None
        count, value = new.count_ever, new.value_ever_minor
        old_count, old_value = old.count_ever, old.value_ever_minor
        if count is None or value is None or old_count is None or old_value is None:
            return None
        count -= old_count
        value -= old_value
        if count < 0 or value < 0:
            return None
        lines.append(_payment_sold(device, new.price_list, price, count, value))
    return tuple(lines)


def _same(old: PaymentReading, new: PaymentReading) -> bool:
    return (
        old.price_minor == new.price_minor
        and old.device == new.device
        and old.price_list == new.price_list
    )


def _went_on(
    old: PaymentReading, new: PaymentReading, resets: Resets, moduli: tuple[int, int]
) -> PaymentSold:
    count = step(old.count_ever, new.count_ever, moduli[0])
    if count.how is How.BLANK:
        count = since_reset_step(old.count_since_reset, new.count_since_reset, resets)
    value = step(old.value_ever_minor, new.value_ever_minor, moduli[1])
    if value.how is How.BLANK:
        value = since_reset_step(old.value_since_reset_minor, new.value_since_reset_minor, resets)
    how = count.how if count.how is not How.COUNTED else value.how
    return PaymentSold(new.device, new.price_list, new.price_minor, count.amount, value.amount, how)


def _from_zero(new: PaymentReading) -> PaymentSold:
    return PaymentSold(
        new.device,
        new.price_list,
        new.price_minor,
        new.count_ever,
        new.value_ever_minor,
        How.FROM_ZERO,
    )


def _match(
    before: Sequence[PaymentReading], after: Sequence[PaymentReading]
) -> tuple[list[tuple[PaymentReading, PaymentReading]], list[PaymentReading], list[PaymentReading]]:
    left = list(before)
    matched = []
    added = []
    for new in after:
        old = next((line for line in left if _same(line, new)), None)
        if old is None:
            added.append(new)
        else:
            left.remove(old)
            matched.append((old, new))
    return matched, left, added


def _repriced(
    dropped: Sequence[PaymentReading],
    added: Sequence[PaymentReading],
    resets: Resets,
    moduli: tuple[int, int],
) -> list[PaymentSold]:
    """New lines as old ones under a new price, where device and price list leave no choice."""
    left = list(dropped)
    lines = []
    for new in added:
        twins = [
            old for old in left if old.device == new.device and old.price_list == new.price_list
        ]
        if len(twins) == 1:
            left.remove(twins[0])
            lines.append(_went_on(twins[0], new, resets, moduli))
        else:
            lines.append(_from_zero(new))
    return lines


def _accounts_for(lines: Sequence[PaymentSold], paid: tuple[int | None, int | None]) -> bool:
    count, value = paid
    if count is None:
        return False
    if any(line.count is None or line.value_minor is None for line in lines):
        return False
    counted = sum(line.count or 0 for line in lines)
    took = sum(line.value_minor or 0 for line in lines)
    return counted == count and (value is None or took == value)
