"""Rules of sales tax, how the business reckons, what it has to file, and what it filed."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from people.one_row import OneRow
from service.compute.tax.classes import Status
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import Rule, rule_from

from .places import STATE


class TaxRule(models.Model):
    """A rule in force for the business. It is never changed: an edit is a new row, and the old one
    stays, named by `replaced_by`."""

    class Origin(models.TextChoices):
        PACK = "pack", "of a pack"
        OWN = "own", "our own"

    key = models.SlugField(max_length=60)
    state = models.CharField(max_length=2, validators=[STATE])
    data = models.JSONField(help_text="The rule as plain data.")
    origin = models.CharField(max_length=4, choices=Origin.choices)
    why = models.CharField(max_length=300, blank=True, help_text="Why it was entered or changed.")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    replaced_by = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )
    removed_at = models.DateTimeField(null=True, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "rule of tax"
        verbose_name_plural = "rules of tax"
        ordering = ["state", "key", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["key"],
                condition=models.Q(replaced_by__isnull=True, removed_at__isnull=True),
                name="tax_rule_key_once",
            )
        ]

    def __str__(self) -> str:
        return self.key

    @property
    def rule(self) -> Rule:
        """The rule itself. Raises BadRule where the data is not one."""
        return rule_from(self.data)

    @property
    def status(self) -> Status:
        return Status(self.data["status"])


class TaxSettings(OneRow):
    """How the business reckons. One row."""

    class Basis(models.TextChoices):
        COLLECTION = "collection", "when cash is collected, cards when read"
        READ = "read", "when the machine is read"
        DAYS = "days", "spread over the days between reads"

    basis = models.CharField(max_length=10, choices=Basis.choices, default=Basis.READ)
    rounding = models.CharField(
        max_length=15,
        choices=[(str(one), one.words) for one in Rounding],
        default=str(Rounding.AGGREGATED),
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="tax_settings_one_row"),
        ]

    def __str__(self) -> str:
        return "tax settings"


class FilingDuty(models.Model):
    """How often a state wants a return, and when after a period ends."""

    class Every(models.TextChoices):
        MONTH = "month", "monthly"
        QUARTER = "quarter", "quarterly"
        YEAR = "year", "yearly"

    state = models.CharField(max_length=2, unique=True, validators=[STATE])
    every = models.CharField(max_length=7, choices=Every.choices, default=Every.QUARTER)
    due_day = models.PositiveSmallIntegerField(
        default=20,
        validators=[MinValueValidator(1), MaxValueValidator(31)],
        help_text="Day of the month after the period in which the return is due.",
    )
    registration = models.CharField(max_length=40, blank=True)
    first_period = models.DateField(help_text="First day from which returns are owed.")
    note = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "filing duties"
        ordering = ["state"]

    def __str__(self) -> str:
        return f"{self.state}, {self.get_every_display()}"


class Filing(models.Model):
    """A return of one state for one period, frozen: what went in, by which rules, what came out.

    Never changed or deleted. What is told later becomes another one that amends it.
    """

    state = models.CharField(max_length=2, validators=[STATE])
    starts_on = models.DateField()
    ends_on = models.DateField(help_text="The first day no more.")
    basis = models.CharField(max_length=10, choices=TaxSettings.Basis.choices)
    rounding = models.CharField(max_length=15)
    inputs = models.BinaryField(help_text="Facts and rules in canonical JSON, gzip.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the canonical inputs, hex.")
    figures = models.JSONField(help_text="The report as it was filed.")
    receipts = models.DecimalField(max_digits=16, decimal_places=4)
    tax = models.DecimalField(max_digits=16, decimal_places=4)
    currency = models.CharField(max_length=3)
    reference = models.CharField(
        max_length=60, blank=True, help_text="The authority's confirmation, where it gave one."
    )
    note = models.CharField(max_length=300, blank=True)
    filed_at = models.DateTimeField()
    filed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    amends = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="amended_by"
    )

    class Meta:
        ordering = ["-starts_on", "state", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_on__gt=models.F("starts_on")),
                name="filing_ends_after_start",
            ),
            models.UniqueConstraint(
                fields=["state", "starts_on", "ends_on"],
                condition=models.Q(amends__isnull=True),
                name="filing_once",
            ),
        ]

    def __str__(self) -> str:
        amended = " (amended)" if self.amends_id else ""
        return f"{self.state} {self.starts_on}{amended}"
