"""The standard's event codes with our words for them, for staff to edit."""

from django.db import migrations
from django.utils import timezone

from fleet.compute.audit.events import MEANINGS


def seed(apps, schema_editor):
    EventMeaning = apps.get_model("sales", "EventMeaning")
    now = timezone.now()
    EventMeaning.objects.bulk_create(
        EventMeaning(
            base=meaning.base,
            group=meaning.group,
            about=meaning.about,
            words=meaning.words,
            urgency=meaning.urgency,
            job=meaning.job,
            updated_at=now,
        )
        for meaning in MEANINGS.values()
    )


def clear(apps, schema_editor):
    apps.get_model("sales", "EventMeaning").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("sales", "0001_initial")]
    operations = [migrations.RunPython(seed, clear)]
