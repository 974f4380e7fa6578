from django.apps import AppConfig


class MachinesConfig(AppConfig):
    name = "fleet.machines"
    label = "machines"
    verbose_name = "Machines"
