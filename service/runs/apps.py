from django.apps import AppConfig


class RunsConfig(AppConfig):
    name = "service.runs"
    label = "runs"
    verbose_name = "Runs"
