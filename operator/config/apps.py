from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "config"
    verbose_name = "Service"

    def ready(self) -> None:
        # Once the settings are read: the checks register themselves, and the Celery app becomes the
        # one that the web process hands its tasks to.
        from . import celery, checks  # noqa: F401, PLC0415
