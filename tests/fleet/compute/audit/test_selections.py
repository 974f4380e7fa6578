"""The product loop as makers send it."""

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.selections import normalised_id
from fleet.compute.audit.totals import Counters
from tests.fleet.compute.audit.samples import sealed


def read(*lines):
    return read_report(sealed("ID4*2*1978*EUR", *lines))


def test_figures_belong_to_the_nearest_selection_before():
    report = read("PA1*1*100", "PA2*1*100", "DA1*S", "PA3*2*200", "PA1*2*100", "PA2*5*500")
    assert [selection.paid.count_ever for selection in report.selections] == [1, 5]
    assert report.selections[0].test.count_ever == 2
    assert report.selections[1].test.is_blank()


def test_a_product_line_before_any_selection_is_ignored():
    report = read("PA2*9*900", "PA1*1*100", "PA2*1*100")
    assert report.warning_codes() == {"product_before_selection"}
    assert report.selections[0].paid.count_ever == 1


def test_a_lost_selection_line_gives_nothing_to_the_one_before():
    report = read("PA1*1*100", "PA2*1*100", "PA2*7*700", "PA3*7*700", "PA1*3*100", "PA2*2*200")
    assert "repeated_segment" in report.warning_codes()
    assert [selection.paid.count_ever for selection in report.selections] == [1, 2]
    assert report.selections[0].test.is_blank()


def test_payment_lines_carry_their_own_id():
    report = read(
        "PA7*2*DA*1*100*3*300*1*100",
        "PA1*1*100",
        "PA7*1*CA*0*100*4*400*2*200",
        "PA1*2*100",
        "PA7*1*TA*0*100*1*100*0*0",
    )
    first, second = report.selections
    assert [(line.device, line.paid.count_ever) for line in first.payment_lines] == [
        ("CA", 4),
        ("TA", 1),
    ]
    assert [line.paid for line in second.payment_lines] == [Counters(3, 300, 1, 100)]
    assert report.stray_payment_lines == ()


def test_a_payment_line_without_selection_is_kept_apart():
    report = read("PA1*1*100", "PA2*1*100", "PA7*99*CA*0*100*4*400*2*200")
    assert report.warning_codes() == {"payment_line_without_selection"}
    assert [line.selection_id for line in report.stray_payment_lines] == ["99"]
    assert report.stray_payment_lines[0].selection_ordinal is None


def test_ids_match_exactly_before_they_match_alike():
    report = read("PA1*03*100", "PA1*3*100", "PA7*3*CA*0*100*4*400", "PA7*03*CA*0*100*5*500")
    assert [s.payment_lines[0].paid.count_ever for s in report.selections] == [5, 4]
    assert report.warnings == ()


def test_an_id_written_another_way_is_matched_and_named():
    report = read("PA1*3*100", "PA7*003*CA*0*100*4*400")
    assert report.selections[0].payment_lines[0].paid.count_ever == 4
    assert report.warning_codes() == {"selection_id_variant"}


def test_normalised_ids():
    assert normalised_id("003") == normalised_id("3") == "3"
    assert normalised_id("a1") == "A1"
    assert normalised_id("00") == "0"


def test_a_repeated_id_is_kept_twice_with_its_ordinal():
    report = read(
        "PA1*1*100",
        "PA2*1*100",
        "PA7*1*CA*0*100*1*100",
        "PA1*1*150",
        "PA2*2*300",
        "PA7*1*CA*0*150*2*300",
    )
    assert [(s.id, s.ordinal, s.price_minor) for s in report.selections] == [
        ("1", 1, 100),
        ("1", 2, 150),
    ]
    assert [s.payment_lines[0].selection_ordinal for s in report.selections] == [1, 2]
    assert report.warning_codes() == {"selection_id_repeated"}


def test_two_lines_of_one_device_in_different_lists_are_two():
    report = read("PA1*1*100", "PA7*1*DA*1*100*4*400", "PA7*1*DA*2*90*4*360")
    assert len(report.selections[0].payment_lines) == 2
    assert report.warnings == ()


def test_two_lines_of_one_key_are_named():
    report = read("PA1*1*100", "PA7*1*DA*1*100*4*400", "PA7*1*DA*1*100*4*400")
    assert report.warning_codes() == {"payment_line_repeated"}


def test_names_are_trimmed_and_broken_lines_joined():
    report = read("PA1*1*100*  ORANGE#JUICE  ", "PA1*2*100*   ")
    assert [selection.name for selection in report.selections] == ["ORANGE JUICE", None]


def test_absent_motor_is_not_sold_out():
    report = read("PA1*1*100**10*10*1*1*10*2", "PA1*2*100**10*10*1*0*0*2", "PA1*3*100**10*10*1*")
    assert [s.motor_absent for s in report.selections] == [True, False, False]
    assert [s.sold_out for s in report.selections] == [None, None, None]
    assert report.selections[1].current_level == 0


def test_sold_out():
    report = read("PA1*1*100", "PA5*20260314*112500*7")
    sold_out = report.selections[0].sold_out
    assert sold_out.asked_count_since_reset == 7
    assert sold_out.time.at.isoformat() == "2026-03-14T11:25:00"


def test_discounts_and_mixed_payments():
    report = read("PA1*1*100", "PA2*9*900*1*100*2*20*1*10*3*30*0*0", "PA8*4*120*1*30")
    selection = report.selections[0]
    assert selection.discounts == Counters(2, 20, 1, 10)
    assert selection.surcharges == Counters(3, 30, 0, 0)
    assert selection.mixed_payment_cash_part == Counters(4, 120, 1, 30)


def test_price_lists_are_reset_first():
    report = read("LA1*1*12*150*3*40")
    entry = report.price_lists[0]
    assert (entry.number, entry.selection_id, entry.price_minor) == (1, "12", 150)
    assert (entry.count_since_reset, entry.count_ever) == (3, 40)


def test_swapped_halves_are_marked_and_left_as_read():
    report = read(
        "VA1*700*7*200*2",
        "PA1*1*100",
        "PA2*1*100*4*400",
        "PA1*2*100",
        "PA2*1*100*3*300",
    )
    assert report.swapped_segments == ("PA2",)
    assert report.warning_codes() == {"halves_swapped"}
    paid = report.selections[0].paid
    assert paid == Counters(1, 100, 4, 400)
    assert paid.exchanged() == Counters(4, 400, 1, 100)


def test_a_lone_breach_is_no_swap():
    report = read("PA1*1*100", "PA2*1*100*4*400", "PA1*2*100", "PA2*9*900*3*300")
    assert report.swapped_segments == ()
    assert report.warning_codes() == {"since_reset_exceeds_ever"}
