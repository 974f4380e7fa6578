"""Currencies by ISO 4217: number, letters, decimal places (exponent).

Those that a machine is likely to be set to; from ISO 4217's published list. A number that is not
here is kept as sent and simply has no letters.
"""

from collections.abc import Mapping
from types import MappingProxyType

# Segment ID4, element 02: four digits, 1 and the ISO number, or 0 and a telephone country code.
_ISO = """
036 AUD 2; 048 BHD 3; 124 CAD 2; 156 CNY 2; 203 CZK 2; 208 DKK 2; 344 HKD 2; 348 HUF 2; 352 ISK 0;
356 INR 2; 376 ILS 2; 392 JPY 0; 410 KRW 0; 414 KWD 3; 458 MYR 2; 484 MXN 2; 554 NZD 2; 578 NOK 2;
682 SAR 2; 702 SGD 2; 704 VND 0; 710 ZAR 2; 752 SEK 2; 756 CHF 2; 764 THB 2; 784 AED 2; 788 TND 3;
826 GBP 2; 840 USD 2; 946 RON 2; 949 TRY 2; 978 EUR 2; 980 UAH 2; 985 PLN 2; 986 BRL 2
"""

BY_NUMBER: Mapping[str, tuple[str, int]] = MappingProxyType(
    {
        number: (letters, int(decimals))
        for number, letters, decimals in (entry.split() for entry in _ISO.split(";"))
    }
)
DECIMALS: Mapping[str, int] = MappingProxyType(dict(BY_NUMBER.values()))

# Only the code whose currency is unmistakable among those of the old scheme.
_BY_TELEPHONE = {"1": "840"}


def iso_number(text: str) -> str | None:
    """The ISO number, three digits, that element ID402 means; None if it means no known one.

    "1978" and the unpadded "978" are 978; "0001" and "1" are the telephone code of the dollar.
    """
    if not (text.isascii() and text.isdigit()):
        return None
    if len(text) == 4 and text[0] == "1":
        return text[1:]
    if len(text) == 3 and text in BY_NUMBER:
        return text
    return _BY_TELEPHONE.get(text.lstrip("0"))
