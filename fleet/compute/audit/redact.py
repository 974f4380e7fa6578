"""Withholds the reset passwords that some machines send in segment SD1, elements 01 and 02."""

import re
from typing import Literal

Encoding = Literal["ascii", "utf-8", "cp1252", "latin-1"]

WITHHELD = "(withheld)"

_LINE_ENDS = re.compile(r"(\r\n|\r|\n)")
_CONTROLS = {code: None for code in (*range(32), 127, *range(128, 160)) if code not in (10, 13)}


def holds_passwords(segment_id: str) -> bool:
    """Whether a line is SD1, or damaged so that it only resembles it: better to hide too much."""
    return "SD1" in segment_id.upper()


def redact_elements(elements: list[str]) -> tuple[list[str], bool]:
    """The elements of an SD1 segment without its passwords, and whether there were any."""
    hidden = [WITHHELD if text.strip() else text for text in elements[:2]]
    return hidden + elements[2:], WITHHELD in hidden


def redact_bytes(data: bytes) -> bytes:
    """The file with passwords withheld; everything else byte for byte.

    Its check value no longer fits where something was withheld, so verdicts and fingerprints are
    taken from the bytes as received.
    """
    return _redact_text(data.decode("latin-1")).encode("latin-1")


def display_text(data: bytes) -> str:
    """The file as text to show a person, passwords withheld and control characters left out."""
    text = _redact_text(without_controls(decode(data)[0]))
    return text.replace("\r\n", "\n").replace("\r", "\n")


def decode(data: bytes) -> tuple[str, Encoding]:
    """Text and the name of the encoding: ASCII, else UTF-8, else Windows-1252, else Latin-1.

    Latin-1 takes any byte, so this never fails.
    """
    if data.isascii():
        return data.decode("ascii"), "ascii"
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), "cp1252"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "latin-1"


def without_controls(text: str) -> str:
    """The text without control characters (a database refuses NUL); line ends stay."""
    return text.translate(_CONTROLS)


def _redact_text(text: str) -> str:
    parts = _LINE_ENDS.split(text)
    for index in range(0, len(parts), 2):
        head, star, rest = parts[index].partition("*")
        if star and holds_passwords(without_controls(head)):
            elements, _ = redact_elements(rest.split("*", 2))
            parts[index] = head + star + "*".join(elements)
    return "".join(parts)
