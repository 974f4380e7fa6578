"""Apps as the bare settings see them: their commands, without their tables."""

from django.apps import AppConfig, apps


class _CommandsOnly(AppConfig):
    def import_models(self) -> None:
        # Models would ask for the other apps, a user model and a database, which are not there.
        self.models = apps.all_models[self.label]


class OfTheApi(_CommandsOnly):
    name = "api"


class OfSales(_CommandsOnly):
    name = "fleet.sales"
    label = "sales"
