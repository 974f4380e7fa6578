"""Settings known to work, with where each comes from."""

from django.db import models

from .kinds import Position
from .products import Package


class ChartEntry(models.Model):
    """A setting said to work for a package in a position: typed from a label, or measured by us.

    What is learned from as-left settings is not kept here: it is computed from the changeovers.
    """

    class Source(models.TextChoices):
        LABEL = "label", "typed from a label"
        MEASURED = "measured", "measured by us"

    position = models.ForeignKey(Position, on_delete=models.CASCADE, related_name="chart")
    package = models.ForeignKey(Package, on_delete=models.PROTECT, related_name="chart")
    source = models.CharField(max_length=10, choices=Source.choices)
    deep = models.PositiveSmallIntegerField()
    front_setting = models.PositiveSmallIntegerField(null=True, blank=True)
    rear_setting = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "chart entries"
        ordering = ["position", "package", "source", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["position", "package", "source", "deep"], name="chart_one_of_each_source"
            ),
            models.CheckConstraint(
                condition=models.Q(front_setting__isnull=False)
                | models.Q(rear_setting__isnull=False),
                name="chart_says_something",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.package} in {self.position} ({self.get_source_display()})"
