"""Where machines stand."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from timezone_field import TimeZoneField


class Site(models.Model):
    """A place where machines stand: a host's premises, or a warehouse of the business."""

    class Purpose(models.TextChoices):
        HOST = "host", "a host's premises"
        WAREHOUSE = "warehouse", "our warehouse"

    class Premises(models.TextChoices):
        """Where some tax and food rules differ."""

        USUAL = "", "no special premises"
        SCHOOL = "school", "school or college"
        WORSHIP = "worship", "house of worship"
        CHARITY = "charity", "charity"

    name = models.CharField(max_length=100, unique=True)
    purpose = models.CharField(max_length=10, choices=Purpose.choices, default=Purpose.HOST)
    street = models.CharField(max_length=120, blank=True)
    city = models.CharField(max_length=80, blank=True)
    county = models.CharField(max_length=80, blank=True)
    state = models.CharField(max_length=40, blank=True)
    postal_code = models.CharField(max_length=12, blank=True)
    country = models.CharField(max_length=2, default="US", help_text="ISO 3166-1, two letters.")
    latitude = models.DecimalField(
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-90)), MaxValueValidator(Decimal(90))],
    )
    longitude = models.DecimalField(
        max_digits=9,
        decimal_places=6,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(-180)), MaxValueValidator(Decimal(180))],
    )
    time_zone = TimeZoneField(default="America/New_York", choices_display="STANDARD")
    contact = models.CharField(max_length=120, blank=True)
    host_name = models.CharField(
        max_length=120, blank=True, help_text="Whom statements of commission are made out to."
    )
    host_email = models.EmailField("host's e-mail", blank=True)
    premises = models.CharField(
        max_length=8, choices=Premises.choices, default=Premises.USUAL, blank=True
    )
    access_notes = models.TextField(blank=True, help_text="Where to park, whom to ask, which door.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(latitude__isnull=True, longitude__isnull=True)
                | models.Q(
                    latitude__isnull=False,
                    longitude__isnull=False,
                    latitude__range=(-90, 90),
                    longitude__range=(-180, 180),
                ),
                name="site_coordinates_whole",
            )
        ]

    def __str__(self) -> str:
        return self.name


class OpeningWindow(models.Model):
    """Hours on one weekday in which a site can be entered, in the site's own time."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="opening_windows")
    weekday = models.PositiveSmallIntegerField(
        choices=list(
            enumerate(
                ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
            )
        )
    )
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["site", "weekday", "opens", "pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(weekday__lte=6), name="opening_weekday"),
            models.CheckConstraint(
                condition=models.Q(closes__gt=models.F("opens")), name="opening_closes_after_opens"
            ),
            models.UniqueConstraint(fields=["site", "weekday", "opens"], name="opening_once"),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}–{self.closes:%H:%M}"
