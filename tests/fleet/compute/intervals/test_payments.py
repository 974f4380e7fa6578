from fleet.compute.intervals.counting import How, Resets
from fleet.compute.intervals.interval import LineSold, Matched, Sold
from fleet.compute.intervals.payments import cut_payments, ever_moduli
from fleet.compute.intervals.snapshot import PaymentReading

NO_RESETS = Resets.UNKNOWN


def line(device, price, count, value, price_list=0):
    return PaymentReading(device, price_list, price, count, value)


def cut_lines(before, after, paid):
    """A line of a selection with the payment lines that were cut."""
    payments = cut_payments(before, after, paid, NO_RESETS, ever_moduli())
    return LineSold("11", 1, Matched.EXACT, 120, 120, Sold(*paid), payments)


def test_cash_and_cashless_are_summed_over_price_lists():
    sold = cut_lines(
        [line("CA", 120, 10, 1200), line("DA", 120, 5, 600, 1), line("DB", 110, 2, 220, 2)],
        [line("CA", 120, 13, 1560), line("DA", 120, 6, 720, 1), line("DB", 110, 4, 440, 2)],
        (6, 700),
    )
    assert (sold.cash_count, sold.cash_value_minor) == (3, 360)
    assert (sold.cashless_count, sold.cashless_value_minor) == (3, 340)


def test_the_order_of_lines_does_not_matter():
    before = [line("CA", 120, 10, 1200), line("DA", 120, 5, 600, 1)]
    after = [line("DA", 120, 6, 720, 1), line("CA", 120, 13, 1560)]
    sold = cut_lines(before, after, (4, 480))
    assert (sold.cash_count, sold.cashless_count) == (3, 1)


def test_a_new_price_counts_on_if_the_selection_says_so():
    sold = cut_lines([line("CA", 120, 10, 1200)], [line("CA", 130, 14, 1720)], (4, 520))
    assert sold.cash_count == 4
    assert sold.payments[0].how is How.COUNTED


def test_a_new_price_counts_from_zero_if_the_selection_says_so():
    before = [line("CA", 120, 10, 1200)]
    after = [line("CA", 120, 11, 1320), line("CA", 130, 3, 390)]
    sold = cut_lines(before, after, (4, 510))
    assert (sold.cash_count, sold.cash_value_minor) == (4, 510)
    assert sold.payments[1].how is How.FROM_ZERO


def test_a_new_line_that_fits_neither_stays_unknown_and_so_does_its_kind_of_payment():
    before = [line("CA", 120, 10, 1200), line("DA", 120, 5, 600, 1)]
    after = [line("CA", 130, 14, 1720), line("DA", 120, 6, 720, 1)]
    sold = cut_lines(before, after, (9, 1000))
    assert sold.cash_count is None
    assert sold.cashless_count == 1


def test_no_payment_lines_is_unknown_and_not_zero():
    sold = cut_lines([], [], (4, 480))
    assert sold.cash_count is None
    assert sold.payments == ()
