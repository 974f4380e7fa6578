from django.apps import AppConfig


class InventoryConfig(AppConfig):
    name = "fleet.inventory"
    label = "inventory"
    verbose_name = "Inventory"
