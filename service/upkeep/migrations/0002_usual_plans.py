"""The plans that the service is delivered with."""

from django.db import migrations
from django.utils import timezone

from service.upkeep.usual import USUAL


def seed(apps, schema_editor):
    MaintenancePlan = apps.get_model("upkeep", "MaintenancePlan")
    now = timezone.now()
    MaintenancePlan.objects.bulk_create(
        MaintenancePlan(made_at=now, updated_at=now, **plan) for plan in USUAL
    )


def clear(apps, schema_editor):
    apps.get_model("upkeep", "MaintenancePlan").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("upkeep", "0001_initial")]
    operations = [migrations.RunPython(seed, clear)]
