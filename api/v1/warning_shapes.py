"""What whoever goes to a machine is warned of: food that is locked, goods called back."""

from rest_framework import serializers

from api.shapes import RowShape
from service.compliance.models import FoodLock, Recall


class OpenFoodLockOut(RowShape):
    class Meta:
        model = FoodLock
        fields = ("id", "since", "said")


class OpenRecallOut(RowShape):
    product_name = serializers.CharField(source="product.name")

    class Meta:
        model = Recall
        fields = (
            *("id", "product", "product_name", "lot_codes"),
            *("best_before_from", "best_before_until", "reason"),
        )


FOOD_LOCK = (
    "Sell no food kept cold or hot here until the machine is serviced and restocked; null: not "
    "locked."
)
RECALLS = "Goods called back that somebody was sent here for and did not write down yet."
