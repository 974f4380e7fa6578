from django.apps import AppConfig


class UpkeepConfig(AppConfig):
    name = "service.upkeep"
    label = "upkeep"
    verbose_name = "Upkeep"
