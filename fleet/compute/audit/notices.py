"""The warnings a read can carry: each with a fixed name, what follows from it, and its sentence.

Effects: "note" is worth knowing; "check" a person may want to look, nothing stops; "unverified"
the figures are used but nothing vouches for the bytes; "hold" the read waits for a person.
"""

from fleet.compute.audit.limits import MOST_WARNINGS
from fleet.compute.audit.report import Effect, Warning

NOTICES: dict[str, tuple[Effect, str]] = {
    # The file as a whole
    "empty_file": ("hold", "The file is empty."),
    "too_large": ("hold", "The file is larger than 1 MiB and was not read."),
    "too_many_lines": ("hold", "The file has more than 20,000 lines and was not read."),
    "too_many_elements": ("hold", "A line has more than 64 elements; the rest was left out."),
    "element_too_long": ("hold", "An element has more than 256 characters and was cut."),
    "no_audit_data": ("hold", "No segment of the audit standard was found."),
    "truncated": ("hold", "The file stops mid-product; figures after that point are missing."),
    "check_value_wrong": ("hold", "The check value does not match: some byte was changed."),
    "check_value_missing": ("unverified", "There is no check value to hold the bytes against."),
    "no_envelope": ("unverified", "The file has no envelope; its start and end are unproved."),
    "no_start_segment": ("unverified", "The ST segment is missing; the check cannot be made."),
    "end_missing": ("check", "The closing segments (SE, DXE) are missing."),
    "check_value_byte_swapped": ("note", "The two bytes of the check value came swapped."),
    "line_ends_restored": ("note", "Line ends had been changed; as CR LF the check value fits."),
    "segment_count_wrong": ("check", "The number of segments is not the number stated."),
    "control_number_wrong": ("note", "The control numbers at start and end differ."),
    "more_than_one_block": ("check", "More than one block of data follows; the first was read."),
    "text_before": ("note", "Bytes before the block of data were passed over."),
    "text_after": ("note", "Bytes after the block of data were passed over."),
    "segments_after_check": ("check", "Segments after the check value were not interpreted."),
    "control_characters": ("note", "Control characters inside the text were left out."),
    "not_ascii": ("note", "Characters beyond ASCII were decoded as best as possible."),
    "unknown_segment": ("note", "A segment that the standard does not know was kept unread."),
    "repeated_segment": ("check", "The segment occurs again where one is meant; the first counts."),
    "passwords_withheld": ("note", "The file carries reset passwords; they are not shown."),
    "more_warnings": ("check", "There were more warnings than are listed."),
    # Values
    "not_a_number": ("check", "Not a number; taken as blank."),
    "wider_than_standard": ("note", "The number has more digits than the standard gives it."),
    "unset_value": ("note", "The value means 'never set'; taken as blank."),
    "bad_date": ("check", "Not a date of the calendar; kept as text only."),
    "bad_time": ("check", "Not a time of day; kept as text only."),
    "decimals_missing": ("note", "The currency's decimal places are not stated; 2 were taken."),
    "decimals_unusual": ("check", "The decimal places are not usual for the currency."),
    "currency_conflict": ("check", "The currency's number and its letters do not agree."),
    "currency_unknown": ("note", "The file does not say its currency."),
    # Products
    "product_before_selection": ("check", "A product line stands before any selection; ignored."),
    "selection_without_id": ("check", "A selection has no id."),
    "selection_id_repeated": ("check", "A selection id occurs more than once; both are kept."),
    "selection_id_variant": ("note", "The id was matched though written another way."),
    "payment_line_without_selection": ("check", "A payment line names no selection of the file."),
    "payment_line_repeated": ("check", "Two payment lines share device, price list and price."),
    "halves_swapped": (
        "check",
        "Since-reset figures exceed the never-reset ones throughout: the halves are swapped.",
    ),
    "since_reset_exceeds_ever": ("check", "More since the last reset than ever before."),
    # Money
    "bill_unit_whole": ("note", "Bills are sent in whole currency units; converted."),
    "bill_unit_undecided": ("check", "The unit of the bills cannot be told; left blank."),
    "cash_in_not_sum": ("check", "Cash in is not box plus tubes plus bills."),
    "coins_in_not_sum": ("check", "Coins counted by value do not make up the cash taken in."),
    "coins_to_box_not_sum": ("check", "Coins by value do not make up the cash to the box."),
    "coins_to_tubes_not_sum": ("check", "Coins by value do not make up the cash to the tubes."),
    "coins_out_not_sum": ("check", "Coins by value do not make up the cash paid out."),
    "sales_not_sum_of_payments": ("check", "Paid vends are not cash plus cashless plus tokens."),
    "sales_not_sum_of_selections": ("check", "Paid vends are not the sum over selections."),
    "sales_not_sum_of_payment_lines": ("check", "Paid vends are not the sum over payment lines."),
    "tubes_not_sum": ("note", "The tubes' total is not the sum of the tubes (a best guess)."),
    "tubes_not_flow": ("note", "Tube contents are not what went in less what came out."),
    "cash_flow_not_balanced": ("note", "Cash in less cash out is not what sales and fills say."),
}


class Notices:
    """Gathers the warnings of one read, up to a limit that a hostile file cannot push."""

    __slots__ = ("_all", "_codes")

    def __init__(self) -> None:
        self._all: list[Warning] = []
        self._codes: set[str] = set()

    def add(self, code: str, where: str, line: int | None = None, detail: str = "") -> None:
        """One warning by its name; `detail` is added to the sentence, as in "sent 12, found 13"."""
        if len(self._all) >= MOST_WARNINGS:
            # Past the limit a name is still listed once: it may be the one that holds the file.
            if "more_warnings" not in self._codes:
                self._append("more_warnings", where, line, "")
            if code in self._codes:
                return
        self._append(code, where, line, detail)

    def _append(self, code: str, where: str, line: int | None, detail: str) -> None:
        effect, sentence = NOTICES[code]
        text = f"{sentence} ({detail})" if detail else sentence
        self._codes.add(code)
        self._all.append(Warning(code, text, where, line, effect))

    def listed(self) -> tuple[Warning, ...]:
        """All of them, in the order they were met."""
        return tuple(self._all)

    def codes_with(self, effect: Effect) -> tuple[str, ...]:
        """The names of those with one effect, each once, in the order they were met."""
        return tuple(dict.fromkeys(w.code for w in self._all if w.effect == effect))
