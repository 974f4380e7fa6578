from django.apps import AppConfig


class DemandConfig(AppConfig):
    name = "fleet.demand"
    label = "demand"
    verbose_name = "Demand"
