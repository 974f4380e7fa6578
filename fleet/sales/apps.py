from django.apps import AppConfig


class SalesConfig(AppConfig):
    name = "fleet.sales"
    label = "sales"
    verbose_name = "Sales"
