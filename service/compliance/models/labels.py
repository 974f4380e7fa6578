"""What the operator says of itself for calorie signs."""

from django.db import models

from people.one_row import OneRow


class LabelSettings(OneRow):
    """Whether the operator has registered to show calories, and whom a sign names. One row."""

    registered = models.BooleanField(
        "registered by choice",
        default=False,
        help_text="With fewer than 20 machines, to go by the federal rule all the same.",
    )
    registered_until = models.DateField(
        null=True, blank=True, help_text="A registration is renewed every other year."
    )
    contact = models.CharField(
        max_length=200,
        blank=True,
        help_text="Stands on each sign: the operator's name, and a phone number or an address.",
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "label settings"
        verbose_name_plural = "label settings"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="label_settings_are_one_row")
        ]

    def __str__(self) -> str:
        return "label settings"
