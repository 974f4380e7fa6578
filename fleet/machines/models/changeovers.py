"""The work of taking a column from one set-up to the next."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from .kinds import DepthProgram
from .machines import Column
from .products import Product
from .setups import Setting, SetUp


class ChangeoverPlan(models.Model):
    """Changeovers planned in one go, on several columns or machines, for one stated purpose."""

    purpose = models.CharField(max_length=200)
    planned_for = models.DateField()
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.purpose


class Changeover(Setting):
    """One column's change, from plan to as-left. The inherited settings are what the plan says."""

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        IN_HAND = "in_hand", "in hand"
        DONE = "done", "done"
        ABANDONED = "abandoned", "abandoned"

    plan = models.ForeignKey(ChangeoverPlan, on_delete=models.PROTECT, related_name="changeovers")
    column = models.ForeignKey(Column, on_delete=models.PROTECT, related_name="changeovers")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="changeovers")
    from_set_up = models.ForeignKey(
        SetUp, null=True, blank=True, on_delete=models.PROTECT, related_name="left_by"
    )
    to_set_up = models.OneToOneField(
        SetUp, null=True, blank=True, on_delete=models.PROTECT, related_name="made_by"
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.PLANNED)
    capacity = models.PositiveSmallIntegerField()
    computed = models.JSONField(
        encoder=DjangoJSONEncoder, help_text="The whole fit answer as it stood when planned."
    )
    geometry_front = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="The notch by measured geometry alone; offsets learn from it.",
    )
    geometry_rear = models.PositiveSmallIntegerField(null=True, blank=True)
    test_vends_asked = models.PositiveSmallIntegerField()

    taken_at = models.DateTimeField(null=True, blank=True)
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_reason = models.CharField(max_length=300, blank=True, help_text="Why it was abandoned.")

    as_left_deep = models.PositiveSmallIntegerField(null=True, blank=True)
    as_left_front = models.PositiveSmallIntegerField(null=True, blank=True)
    as_left_rear = models.PositiveSmallIntegerField(null=True, blank=True)
    as_left_program = models.ForeignKey(
        DepthProgram, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    as_left_price = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    as_left_orientation = models.CharField(
        max_length=12, choices=Setting.Orientation.choices, blank=True
    )
    picture_matches = models.BooleanField(null=True, blank=True)
    test_vends_made = models.PositiveSmallIntegerField(null=True, blank=True)
    test_vends_passed = models.PositiveSmallIntegerField(null=True, blank=True)
    what_happened = models.TextField(blank=True)
    mismatches = models.JSONField(
        default=list,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="Where as-left differs from the plan.",
    )
    mismatch_reason = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["plan", "column", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["column"],
                condition=models.Q(state__in=["planned", "in_hand"]),
                name="changeover_one_open_a_column",
            ),
            models.CheckConstraint(
                condition=models.Q(state="planned", taken_at__isnull=True, ended_at__isnull=True)
                | models.Q(state="in_hand", taken_at__isnull=False, ended_at__isnull=True)
                | models.Q(
                    state="done",
                    taken_at__isnull=False,
                    ended_at__isnull=False,
                    to_set_up__isnull=False,
                    as_left_deep__isnull=False,
                    as_left_price__isnull=False,
                    test_vends_made__isnull=False,
                )
                | (
                    models.Q(state="abandoned", ended_at__isnull=False, to_set_up__isnull=True)
                    & ~models.Q(ended_reason="")
                ),
                name="changeover_never_half_applied",
            ),
            models.CheckConstraint(
                condition=models.Q(test_vends_made__isnull=True, test_vends_passed__isnull=True)
                | models.Q(
                    test_vends_made__isnull=False,
                    test_vends_passed__isnull=False,
                    test_vends_passed__lte=models.F("test_vends_made"),
                ),
                name="changeover_passed_of_made",
            ),
            models.CheckConstraint(
                condition=models.Q(mismatches=[])
                | ~models.Q(mismatch_reason="")
                | ~models.Q(state="done"),
                name="changeover_mismatch_has_reason",
            ),
        ]
        indexes = [models.Index(fields=["state", "plan"], name="changeover_by_state")]

    def __str__(self) -> str:
        return f"{self.column} to {self.product}"


class RemovedProduct(models.Model):
    """Products taken out of the column in a changeover, by product and condition."""

    class Condition(models.TextChoices):
        GOOD = "good", "good, goes back to stock"
        OUT_OF_DATE = "out_of_date", "out of date"
        DAMAGED = "damaged", "damaged"

    changeover = models.ForeignKey(Changeover, on_delete=models.CASCADE, related_name="removed")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    condition = models.CharField(max_length=12, choices=Condition.choices)
    count = models.PositiveIntegerField()

    class Meta:
        ordering = ["changeover", "product", "condition", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["changeover", "product", "condition"], name="removed_once_each"
            ),
            models.CheckConstraint(condition=models.Q(count__gte=1), name="removed_at_least_one"),
        ]

    def __str__(self) -> str:
        return f"{self.count} × {self.product}, {self.get_condition_display()}"
