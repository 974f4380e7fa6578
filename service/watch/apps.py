from django.apps import AppConfig


class WatchConfig(AppConfig):
    name = "service.watch"
    label = "watch"
    verbose_name = "Watch"
