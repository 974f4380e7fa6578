"""What earnings are asked for, and what they are reckoned with."""

from service.earnings.models import EarningsSettings

from .base import RowForm


class EarningsSettingsForm(RowForm):
    model = EarningsSettings
    columns = (
        "cost_per_hour",
        "cost_per_km",
        "overhead_per_month",
        "moving_minutes",
        "elasticity_least",
        "elasticity_most",
    )
    labels = {
        "cost_per_hour": "A driver's hour",
        "cost_per_km": "A kilometre",
        "overhead_per_month": "Overhead, a machine and month",
        "moving_minutes": "Moving a machine (minutes)",
        "elasticity_least": "Buyers lost a percent of price, at least",
        "elasticity_most": "Buyers lost a percent of price, at most",
    }
