from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tickets", "0002_acts_from_the_road")]

    operations = [
        migrations.AddField(
            model_name="symptom",
            name="needs_skill",
            field=models.CharField(
                blank=True,
                help_text="Only a driver with this skill is sent for it.",
                max_length=40,
            ),
        ),
    ]
