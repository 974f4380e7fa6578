"""What the doors of demand share: how expected money is written, and for whom."""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fleet.demand.queries.gates import sees_money


@extend_schema_field(
    {
        "type": ["string", "null"],
        "pattern": r"^-?\d+(\.\d+)?$",
        "description": "An expected amount in the business's currency; null for those who do not "
        "see money.",
    }
)
class AtStake(serializers.Field):
    """An expectation in minor units of the business's currency, as text with decimal places."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> str | None:
        if not sees_money(self.context["request"].user):
            return None
        places = self.context["business"].currency_exponent
        return f"{Decimal(str(round(float(value), 3))).scaleb(-places):.{places}f}"


@extend_schema_field(
    {
        "type": ["integer", "null"],
        "description": "In minor units of the business's currency; null for those who do not see "
        "money.",
    }
)
class MinorAtStake(serializers.Field):
    """An expectation in whole minor units."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: int) -> int | None:
        return value if sees_money(self.context["request"].user) else None


class ReasonOut(serializers.Serializer):
    code = serializers.CharField()
    text = serializers.CharField()


@extend_schema_field(
    {
        "type": "array",
        "items": {"type": ["string", "null"]},
        "description": "Expected margin lost by the end of each day, in the business's currency; "
        "nulls for those who do not see money.",
    }
)
class AmountsAtStake(serializers.Field):
    """Expected amounts, one a day, already in the business's currency."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> list[str | None]:
        if not sees_money(self.context["request"].user):
            return [None] * len(value)
        places = self.context["business"].currency_exponent
        return [f"{one:.{places}f}" for one in value]
