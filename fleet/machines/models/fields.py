"""Columns that recur: lengths, money, periods."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Func

LONGEST_MM = Decimal("3000")


class LengthField(models.DecimalField):
    """A length in millimetres, kept to the micrometre so that inches survive the round trip."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("max_digits", 8)
        kwargs.setdefault("decimal_places", 3)
        kwargs.setdefault(
            "validators", [MinValueValidator(Decimal("0.001")), MaxValueValidator(LONGEST_MM)]
        )
        super().__init__(*args, **kwargs)


def measured(**kwargs: Any) -> LengthField:
    """A length that may not have been measured yet."""
    return LengthField(null=True, blank=True, **kwargs)


def money(**kwargs: Any) -> models.DecimalField:
    """Money to the smallest unit of any currency the business may use."""
    return models.DecimalField(
        max_digits=12, decimal_places=4, validators=[MinValueValidator(Decimal(0))], **kwargs
    )


class Period(Func):
    """`[starts_at, ends_at)` as a range, for exclusion constraints.

    An empty end is still running.
    """

    function = "tstzrange"
    template = "%(function)s(%(expressions)s, '[)')"

    def __init__(self, starts: str = "starts_at", ends: str = "ends_at") -> None:
        super().__init__(starts, ends)


class Days(Func):
    """`[starts_on, ends_on)` as a range of days, for exclusion constraints.

    An empty end is still running.
    """

    function = "daterange"
    template = "%(function)s(%(expressions)s, '[)')"

    def __init__(self, starts: str = "starts_on", ends: str = "ends_on") -> None:
        super().__init__(starts, ends)
