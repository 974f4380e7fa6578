from django.apps import AppConfig


class EarningsConfig(AppConfig):
    name = "service.earnings"
    label = "earnings"
    verbose_name = "Earnings"
