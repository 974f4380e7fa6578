"""Global Trade Item Numbers: check digits and the 14-digit form.

Source: GS1 General Specifications, check digit calculation: from the right, without the check
digit,
weights 3, 1, 3, 1 …; the check digit brings the sum to a multiple of ten.
"""

LENGTHS = (8, 12, 13, 14)


class BadGtin(ValueError):
    """Not a GTIN. The message says what is wrong and what would be right."""


def check_digit(body: str) -> int:
    """The check digit for a number given without it."""
    total = sum(int(digit) * (3 if i % 2 == 0 else 1) for i, digit in enumerate(reversed(body)))
    return -total % 10


def as_gtin14(text: str) -> str:
    """The number as 14 digits with leading zeros. GTIN-8, UPC-A (12), EAN-13 and GTIN-14 are
    accepted.

    Spaces and hyphens are passed over. Raises BadGtin, naming the expected digit when only that is
    wrong.
    """
    digits = text.replace(" ", "").replace("-", "")
    if not digits.isascii() or not digits.isdigit():
        raise BadGtin(
            f"{text!r} holds something other than digits; a GTIN has 8, 12, 13 or 14 digits"
        )
    if len(digits) not in LENGTHS:
        raise BadGtin(f"{text!r} has {len(digits)} digits; a GTIN has 8, 12, 13 or 14")
    expected = check_digit(digits[:-1])
    if expected != int(digits[-1]):
        raise BadGtin(f"{text!r} ends in {digits[-1]}, but its check digit must be {expected}")
    return digits.zfill(14)
