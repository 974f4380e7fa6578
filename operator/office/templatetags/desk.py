"""Words and figures as the desk shows them. Built in: no page needs to load this."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django import template
from django.forms import BoundField
from django.urls import reverse
from django.utils import timezone

from fleet.compute.units import MM_PER_INCH, Units
from fleet.sales.queries.waiting import Pile
from office.columns import notch_said
from people import currency, policy
from people.models import AuditEntry, Business
from service.compute import food_code
from service.compute.earnings import Earned

register = template.Library()

NOTHING = "—"
ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")


@register.filter
def may(person: object, can: str) -> bool:
    """Whether the policy lets a person do what a row of it names."""
    return policy.may(person, can)


@register.filter
def in_units(length_mm: Decimal | float | None, business: Business) -> str:
    """A length in the business's unit, with the unit: `2.61 in`, `66.2 mm`."""
    if length_mm is None:
        return NOTHING
    inches = business.units == Business.Units.INCHES
    return (Units.INCHES if inches else Units.MILLIMETRES).length(float(length_mm))


@register.filter
def in_both(length_mm: Decimal | float | None, business: Business) -> str:
    """A length in millimetres, and in inches too where the business speaks inches."""
    if length_mm is None:
        return NOTHING
    said = Units.MILLIMETRES.length(float(length_mm))
    if business.units == Business.Units.INCHES:
        return f"{said} ({float(length_mm) / MM_PER_INCH:.3f} in)"
    return said


@register.filter
def money(amount: Decimal | None, business: Business) -> str:
    """An amount in the business's currency, to its smallest unit: `$2.25`, `2.25 SEK`."""
    return NOTHING if amount is None else currency.said(amount, business)


@register.filter
def degrees(celsius: Decimal) -> str:
    """A temperature in both scales."""
    return food_code.degrees(celsius)


@register.filter
def when(moment: datetime | date | None, zone: ZoneInfo | None = None) -> str:
    """A moment in a zone, such as `Mon 2 Mar 2026, 09:14`; a day without the hour."""
    if moment is None:
        return NOTHING
    if not isinstance(moment, datetime):
        return f"{moment:%a} {moment.day} {moment:%b %Y}"
    local = timezone.localtime(moment, zone)
    return f"{local:%a} {local.day} {local:%b %Y}, {local:%H:%M}"


@register.filter
def clock(moment: datetime | None, zone: ZoneInfo | None = None) -> str:
    """The hour of a moment in a zone, such as `09:14`."""
    return NOTHING if moment is None else f"{timezone.localtime(moment, zone):%H:%M}"


@register.filter
def day(moment: datetime | date | None, zone: ZoneInfo | None = None) -> str:
    """The day of a moment in a zone, such as `2 Mar 2026`."""
    if moment is None:
        return NOTHING
    local = timezone.localtime(moment, zone) if isinstance(moment, datetime) else moment
    return f"{local.day} {local:%b %Y}"


@register.filter
def last_day(ends_on: date | None) -> str:
    """The last day of days that end before another: `31 Dec 2026` of `2027-01-01`."""
    return NOTHING if ends_on is None else day(ends_on - timedelta(days=1))


@register.filter
def get(mapping: Mapping[Any, Any], key: Any) -> Any:
    """A mapping's value, or nothing."""
    return mapping.get(key)


@register.filter
def words(value: str) -> str:
    """A stored name as words: `front_setting` -> `front setting`."""
    return str(value).replace("_", " ")


@register.filter
def percent(share: float | Decimal | None) -> str:
    return NOTHING if share is None else f"{float(share) * 100:.0f} %".replace("-", "−")


@register.inclusion_tag("office/parts/field.html")
def field(bound: BoundField, css: str = "") -> dict[str, Any]:
    """One field of a form: its name, its input, what it means, what is wrong with it."""
    return {"field": bound, "css": css, "type": bound.widget_type}


@register.filter
def percent_of(rate: Decimal | None) -> str:
    """A fraction as an exact percentage: `6.625 %`."""
    return NOTHING if rate is None else f"{(rate * 100).normalize():f} %"


@register.filter
def costs(earned: Earned, names: str) -> Decimal:
    """Several costs of what was earned together, as far as they are known."""
    return sum((earned.costs.get(name, Decimal(0)) for name in names.split()), Decimal(0))


@register.simple_tag(takes_context=True)
def query(context: template.Context, **changes: Any) -> str:
    """The page's own query with some parts changed; what is empty is left out."""
    found = context["request"].GET.copy()
    for name, value in changes.items():
        if value in (None, ""):
            found.pop(name, None)
        else:
            found[name] = value
    return f"?{found.urlencode()}" if found else "?"


@register.filter
def pile_address(pile: Pile) -> str:
    """Where one pile of the tray is looked through; a pile of one is its read."""
    if pile.count == 1:
        return reverse("office:read", args=[pile.latest.pk])
    given = {name: value for name, value in asdict(pile.alike).items() if value or name == "why"}
    return f"{reverse('office:reads')}?{urlencode(given)}"


# A row's own keys and stamps say nothing to a reader of the trail.
UNSAID = {"id", "created_at", "updated_at", "last_login", "computed"}


@register.filter
def changes(entry: AuditEntry) -> list[tuple[str, str, str]]:
    """What an audit entry changed: name in words, before, after. What stayed empty is left out."""
    before, after = entry.before or {}, entry.after or {}
    names = [name for name in {**before, **after} if name not in UNSAID]
    rows = [(words(name), _plain(before.get(name)), _plain(after.get(name))) for name in names]
    return [row for row in rows if row[1] != row[2]]


def _plain(value: Any) -> str:
    if value in (None, "", []):
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    return str(value)


VERDICTS = {
    "fits": "fits",
    "fits_with_caution": "fits, with a caution",
    "cannot_tell": "not measured yet",
    "does_not_fit": "does not fit",
}


@register.filter
def verdict(value: str) -> str:
    """A verdict in words."""
    return VERDICTS[str(value)]


@register.filter
def verdict_of_many(value: str) -> str:
    """A verdict in words, of a number of columns or products."""
    return {"fits": "fit", "fits_with_caution": "fit, with a caution"}.get(
        str(value), VERDICTS[str(value)].replace("does", "do")
    )


CHECKED = {
    "ok": "right",
    "ok_byte_swapped": "right, with its two bytes exchanged",
    "ok_after_crlf_restore": "right, once the line ends are as they were",
    "missing": "not in the file",
    "mismatch": "wrong",
}


@register.filter
def checked(value: str) -> str:
    """What a read's check value came to, in words."""
    return CHECKED.get(value, words(value))


@register.filter
def minor(amount: int | None, exponent: int) -> str:
    """Money read in minor units, as figures: `268.25`."""
    if amount is None:
        return NOTHING
    return f"{Decimal(amount).scaleb(-exponent):,.{exponent}f}"


@register.filter
def minor_float(amount: float | None, business: Business) -> str:
    """An expectation in minor units, as money: `$268.25`."""
    if amount is None:
        return NOTHING
    places = business.currency_exponent
    return money(
        Decimal(f"{amount:.6f}").scaleb(-places).quantize(Decimal(1).scaleb(-places)), business
    )


@register.filter
def band(bands: Mapping[float, tuple[int, int]], percent: int) -> str:
    """A band of whole units, by its percent: `3–9`."""
    low, high = bands[percent / 100]
    return f"{low}–{high}"


@register.filter
def size(figure: float) -> float:
    """A figure without its sign."""
    return abs(figure)


@register.filter
def timesince_s(begun: datetime, ended: datetime) -> str:
    """How long something took: `3.2 s`, `2 min 5 s`."""
    seconds = (ended - begun).total_seconds()
    if seconds < 60:
        return f"{seconds:.1f} s"
    return f"{int(seconds // 60)} min {int(seconds % 60)} s"


@register.filter
def but(reasons: list[Mapping[str, Any]], code: str) -> list[Mapping[str, Any]]:
    """Reasons without those of one code, which the page tells in figures."""
    return [one for one in reasons if one.get("code") != code]


@register.filter
def why(reasons: list[Mapping[str, Any]]) -> str:
    """Reasons as sentences, without what another of them says too."""
    told = [str(one["said"]).rstrip(".") for one in reasons if one.get("said")]
    kept = [one for one in told if not any(one != other and one in other for other in told)]
    return days_said(" ".join(f"{one}." for one in dict.fromkeys(kept)))


@register.filter
def days_said(text: str) -> str:
    """A text with its days as the desk writes them: `before 30 Nov 2026`."""
    return ISO_DAY.sub(_day_said, text)


def _day_said(found: re.Match[str]) -> str:
    try:
        return day(date.fromisoformat(found[0]))
    except ValueError:
        return found[0]


@register.filter
def by_delay(delays: Iterable[Any]) -> list[tuple[int, list[Any]]]:
    """Delays of the same minutes together, the longest first: a moved stop delays many alike."""
    found: dict[int, list[Any]] = {}
    for one in delays:
        found.setdefault(round(one.minutes), []).append(one)
    return sorted(found.items(), key=lambda pair: -pair[0])


@register.filter
def hours(minutes: float | Decimal | None) -> str:
    """So many minutes as hours: `5 h 12 min`, `34 min`."""
    if minutes is None:
        return NOTHING
    whole = round(abs(float(minutes)))
    minus = "−" if minutes < 0 and whole else ""
    return f"{minus}{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{minus}{whole} min"


@register.filter
def distance(metres: float | None) -> str:
    """A way on the road: `12.3 km`."""
    return NOTHING if metres is None else f"{metres / 1000:,.1f} km".replace("-", "−")


@register.simple_tag
def spoken(place: Any, side: str, notch: int | None) -> str:
    """A stored notch as a hand finds it."""
    return notch_said(place, side, notch)
