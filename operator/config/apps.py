from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "config"
    verbose_name = "Service"

    def ready(self) -> None:
        from . import checks  # noqa: F401, PLC0415 - registers them, once the settings are read
