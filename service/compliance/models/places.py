"""Who may tax where, at which rate from when: jurisdictions, the sites in them, rates."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models

from fleet.machines.models import Site
from fleet.machines.models.fields import Days
from service.compute.tax.split import percent

STATE = RegexValidator(r"^[A-Z]{2}$", "Write a state by its two letters, as in PA.")


def rate(**kwargs: object) -> models.DecimalField:
    """A rate as a fraction: 0.0625 is 6.25 %."""
    return models.DecimalField(
        max_digits=8,
        decimal_places=7,
        validators=[MinValueValidator(0), MaxValueValidator(1)],
        **kwargs,  # type: ignore[arg-type]
    )


class Jurisdiction(models.Model):
    """A state, county, city or district that may set a rate of sales tax."""

    class Kind(models.TextChoices):
        STATE = "state", "state"
        COUNTY = "county", "county"
        CITY = "city", "city"
        DISTRICT = "district", "district"

    code = models.CharField(
        max_length=20,
        unique=True,
        validators=[
            RegexValidator(
                r"^[A-Z]{2}(-[0-9A-Za-z]+)*$", "Begin with the state, as in FL-00-00057."
            )
        ],
        help_text="The state's letters; for others also kind and number, as in FL-00-00057.",
    )
    name = models.CharField(max_length=100)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    state = models.CharField(max_length=2, validators=[STATE])
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["state", "kind", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["state"],
                condition=models.Q(kind="state"),
                name="jurisdiction_one_a_state",
            ),
            models.CheckConstraint(
                condition=models.Q(code__startswith=models.F("state")),
                name="jurisdiction_code_begins_with_state",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.get_kind_display()})"


class SiteJurisdiction(models.Model):
    """A site lies in a county, city or district, from one day to another.

    Its state is the site's own and needs no row.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="jurisdictions")
    jurisdiction = models.ForeignKey(Jurisdiction, on_delete=models.PROTECT, related_name="sites")
    begins_on = models.DateField(null=True, blank=True, help_text="Empty: as far back as known.")
    ends_on = models.DateField(null=True, blank=True, help_text="The first day no more.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["site", "jurisdiction", "begins_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(begins_on__isnull=True)
                | models.Q(ends_on__isnull=True)
                | models.Q(ends_on__gt=models.F("begins_on")),
                name="site_jurisdiction_ends_after_begin",
            ),
            ExclusionConstraint(
                name="site_jurisdiction_once_a_day",
                expressions=[
                    ("site", RangeOperators.EQUAL),
                    ("jurisdiction", RangeOperators.EQUAL),
                    (Days("begins_on"), RangeOperators.OVERLAPS),
                ],
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} in {self.jurisdiction}"


class RateFile(models.Model):
    """A file of rates as a state published it, kept for good."""

    name = models.CharField(max_length=200)
    raw = models.BinaryField()
    sha256 = models.CharField(max_length=64, unique=True)
    rates = models.PositiveIntegerField(help_text="How many rates it holds.")
    loaded_at = models.DateTimeField()
    loaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-loaded_at", "-pk"]

    def __str__(self) -> str:
        return self.name


class Rate(models.Model):
    """The rates of a jurisdiction from one day to another."""

    class Source(models.TextChoices):
        TYPED = "typed", "typed in"
        FILE = "file", "of a rate file"

    jurisdiction = models.ForeignKey(Jurisdiction, on_delete=models.PROTECT, related_name="rates")
    general = rate()
    food = rate(null=True, blank=True, help_text="Empty: none of its own for food.")
    begins_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True, help_text="The first day no more.")
    source = models.CharField(max_length=5, choices=Source.choices, default=Source.TYPED)
    file = models.ForeignKey(
        RateFile, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    citation = models.CharField(
        max_length=200, blank=True, help_text="Where the rate is published."
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["jurisdiction", "-begins_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(general__gte=0, general__lt=1)
                & (models.Q(food__isnull=True) | models.Q(food__gte=0, food__lt=1)),
                name="rate_is_a_fraction",
                violation_error_message="Write a rate as a fraction below 1: 0.0625 is 6.25 %.",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_on__isnull=True)
                | models.Q(ends_on__gt=models.F("begins_on")),
                name="rate_ends_after_begin",
                violation_error_message="The first day no more comes after the first day.",
            ),
            ExclusionConstraint(
                name="rate_one_a_day",
                expressions=[
                    ("jurisdiction", RangeOperators.EQUAL),
                    (Days("begins_on"), RangeOperators.OVERLAPS),
                ],
                violation_error_message="The jurisdiction has another rate in that time; "
                "end that first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.jurisdiction}: {percent(self.general)} from {self.begins_on}"
