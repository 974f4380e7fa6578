"""Blanks, odd numbers, dates, currencies, text in foreign encodings, and passwords."""

import pytest

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.redact import display_text, redact_bytes
from fleet.compute.audit.report import Counters
from tests.fleet.compute.audit.samples import READ_A, sealed

CURRENCY = "ID4*2*1978*EUR"


def read(*lines, encoding="ascii"):
    return read_report(sealed(CURRENCY, *lines, encoding=encoding))


def test_blank_is_none_and_not_zero():
    report = read("VA1*300**0*", "PA1*1**", "PA2*5**0")
    assert report.totals.paid == Counters(None, 300, None, 0)
    selection = report.selections[0]
    assert (selection.price_minor, selection.name, selection.capacity) == (None, None, None)
    assert selection.motor_absent is None
    assert selection.paid == Counters(5, None, 0, None)
    assert report.totals.free.is_blank()
    assert report.totals.test_cash_to_box.ever_minor is None


def test_a_line_of_bare_stars_is_blank():
    assert read("VA1****").totals.paid == Counters()


@pytest.mark.parametrize("text", ["-5", "+5", "1.20", "1_0", "5 5", "x", "0x10", "9" * 13])
def test_what_is_no_number_is_blank_and_named(text):
    report = read(f"VA1*{text}*3")
    assert report.totals.paid == Counters(3, None, None, None)
    assert [(w.code, w.where) for w in report.warnings] == [("not_a_number", "VA101")]
    assert report.usable_as == "accepted"


@pytest.mark.parametrize("text", ["²", "٣"])
def test_digits_of_other_scripts_are_no_numbers(text):
    report = read(f"VA1*{text}*3", encoding="utf-8")
    assert report.totals.paid.value_ever_minor is None
    assert "not_a_number" in report.warning_codes()


def test_padded_numbers_are_read():
    assert read("VA1*0000000300* 3 *000*0").totals.paid == Counters(3, 300, 0, 0)


def test_wider_than_the_standard_is_kept_and_named():
    report = read("CA2*123456789*1234567*0*0")
    assert report.totals.cash_sales.value_ever_minor == 123456789
    assert {w.where for w in report.warnings} == {"CA201", "CA202"}
    assert report.warning_codes() == {"wider_than_standard"}


def test_all_ones_means_never_set():
    report = read("ID1*S1*M*1*HERE*4294967295*4294967295", "VA1*4294967295*3*0*0")
    assert report.identity.asset is None
    assert report.identity.user is None
    assert report.totals.paid == Counters(3, None, 0, 0)
    assert [w.where for w in report.warnings if w.code == "unset_value"] == [
        "VA101",
        "ID105",
        "ID106",
    ]


@pytest.mark.parametrize(
    ("date", "time", "at"),
    [
        ("231127", "0930", "2023-11-27T09:30:00"),
        ("20231022", "170512", "2023-10-22T17:05:12"),
        ("20240229", "235959", "2024-02-29T23:59:59"),
        ("231127", "930", "2023-11-27T09:30:00"),
        ("20100101", "000000", "2010-01-01T00:00:00"),
    ],
)
def test_both_forms_of_date_and_time(date, time, at):
    report = read(f"EA3*1*{date}*{time}*H")
    assert report.read_info.this_read.at.isoformat() == at
    assert report.read_info.this_read.date_text == date
    assert report.warnings == ()


@pytest.mark.parametrize(
    ("date", "time", "code"),
    [
        ("20230229", "0930", "bad_date"),
        ("20231301", "0930", "bad_date"),
        ("2023", "0930", "bad_date"),
        ("00000101", "0930", "bad_date"),
        ("20231022", "2460", "bad_time"),
        ("20231022", "12:30", "bad_time"),
    ],
)
def test_impossible_moments_stay_text(date, time, code):
    moment = read(f"EA3*1*{date}*{time}*H").read_info.this_read
    assert (moment.date_text, moment.time_text, moment.at) == (date, time, None)
    assert read(f"EA3*1*{date}*{time}*H").warning_codes() == {code}


def test_a_date_of_zeros_is_unset_without_a_warning():
    report = read("EA1*EGS*000000*0000")
    assert report.events[0].time.at is None
    assert report.warnings == ()


def test_seconds_of_the_clock_stand_apart():
    report = read("ID5*231127*0930*17*NA")
    assert report.clock.time.at.isoformat() == "2023-11-27T09:30:17"
    assert report.clock.daylight_saving == "NA"


@pytest.mark.parametrize(
    ("line", "letters", "number", "decimals", "codes"),
    [
        ("ID4*2*1978*EUR", "EUR", "978", 2, set()),
        ("ID4*2*1840", "USD", "840", 2, set()),
        ("ID4*2*0001*USD", "USD", "840", 2, set()),
        ("ID4*2*978", "EUR", "978", 2, set()),
        ("ID4*0*1392*JPY", "JPY", "392", 0, set()),
        ("ID4*3*1414*KWD", "KWD", "414", 3, set()),
        ("ID4*2**GBP", "GBP", None, 2, set()),
        ("ID4**1978*EUR", "EUR", "978", 2, {"decimals_missing"}),
        ("ID4*2*1840*EUR", "EUR", "840", 2, {"currency_conflict"}),
        ("ID4*1*1840*USD", "USD", "840", 1, {"decimals_unusual"}),
        ("ID4*2*0099", None, None, 2, {"currency_unknown"}),
    ],
)
def test_currencies(line, letters, number, decimals, codes):
    """ISO 4217 numbers and exponents; the telephone form as the audit standard describes it."""
    report = read_report(sealed(line, "VA1*1*1"))
    currency = report.currency
    assert (currency.alphabetic, currency.numeric, currency.decimals) == (letters, number, decimals)
    assert report.warning_codes() == codes


def test_no_currency_at_all():
    report = read_report(sealed("VA1*1*1"))
    assert report.currency.decimals == 2
    assert not report.currency.decimals_stated
    assert report.warning_codes() == {"decimals_missing", "currency_unknown"}


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "latin-1"])
def test_names_beyond_ascii(encoding):
    report = read("PA1*1*100*CAFÉ", "PA2*0*0", encoding=encoding)
    assert report.selections[0].name == "CAFÉ"
    assert report.usable_as == "accepted"
    assert report.warning_codes() == {"not_ascii"}


def test_bytes_that_are_no_windows_text_fall_back_on_latin_1():
    data = sealed(CURRENCY, "PA1*1*100*CAF\x81\xc9", encoding="latin-1")
    report = read_report(data)
    assert report.integrity.encoding == "latin-1"
    assert report.selections[0].name == "CAFÉ"
    assert report.usable_as == "accepted"


@pytest.mark.parametrize("text", ["A\x00B", "A\x0bB", "A\x1cB", "A\x7fB"])
def test_control_characters_are_left_out_and_split_nothing(text):
    report = read(f"PA1*1*100*{text}", "PA2*0*0")
    assert report.selections[0].name == "AB"
    assert report.warning_codes() == {"control_characters"}


def test_unicode_line_separators_split_nothing():
    report = read("PA1*1*100*A\u2028B\x85C", encoding="utf-8")
    assert len(report.segments) == 7
    assert report.usable_as == "accepted"


def test_passwords_are_withheld_everywhere():
    data = sealed(CURRENCY, "SD1*0451*SECRET***SAVE*SAVE")
    report = read_report(data)
    assert report.warning_codes() == {"passwords_withheld"}
    assert report.read_info.interval_reset_mode == "SAVE"
    for shown in (repr(report), repr(report.segments), display_text(data)):
        assert "0451" not in shown
        assert "SECRET" not in shown
    stripped = redact_bytes(data)
    assert b"SECRET" not in stripped
    assert len(stripped.splitlines()) == len(data.splitlines())
    assert stripped.replace(b"(withheld)*(withheld)", b"0451*SECRET") == data


@pytest.mark.parametrize(
    "line", ["SD1*PASS", "SD1*PASS*PASS", "sd1*PASS*", " SD1 *PASS", "S\x00D1**PASS", "XSD1*PASS"]
)
def test_passwords_of_damaged_lines_are_withheld(line):
    data = sealed(CURRENCY, line)
    for shown in (repr(read_report(data).segments), display_text(data)):
        assert "PASS" not in shown
    assert b"PASS" not in redact_bytes(data)


def test_without_passwords_nothing_is_changed():
    assert redact_bytes(READ_A) == READ_A
    assert display_text(READ_A) == READ_A.decode().replace("\r\n", "\n")
