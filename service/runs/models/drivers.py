"""Who drives, when, and when not."""

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models

from fleet.machines.models import Machine

from .depots import Depot, Vehicle

WEEKDAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]


class DriverProfile(models.Model):
    """What planning knows of a driver: depot, usual vehicle, skills, weekly shifts."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="driver_profile"
    )
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="drivers")
    vehicle = models.ForeignKey(
        Vehicle,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="drivers",
        help_text="The one usually driven. Empty: none, so nothing is planned for the driver.",
    )
    skills = ArrayField(models.CharField(max_length=40), default=list, blank=True)
    active = models.BooleanField(default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["person__name", "pk"]

    def __str__(self) -> str:
        return str(self.person)


class Shift(models.Model):
    """Hours a driver works on one weekday, where the depot is."""

    profile = models.ForeignKey(DriverProfile, on_delete=models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField(choices=list(enumerate(WEEKDAYS)))
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ["profile", "weekday", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["profile", "weekday"], name="shift_one_a_weekday"),
            models.CheckConstraint(condition=models.Q(weekday__lte=6), name="shift_weekday"),
            models.CheckConstraint(
                condition=models.Q(ends__gt=models.F("starts")),
                name="shift_ends_after_start",
                violation_error_message="A shift ends after it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.starts:%H:%M}–{self.ends:%H:%M}"


class DayOff(models.Model):
    """A day on which a driver does not drive; without a driver, a day on which nobody does."""

    profile = models.ForeignKey(
        DriverProfile, null=True, blank=True, on_delete=models.CASCADE, related_name="days_off"
    )
    date = models.DateField()
    why = models.CharField(max_length=120)

    class Meta:
        verbose_name_plural = "days off"
        ordering = ["date", "profile", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["profile", "date"], nulls_distinct=False, name="day_off_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.date}: {self.profile or 'everybody'} off, {self.why}"


class WorkingDay(models.Model):
    """A public holiday on which the business works all the same."""

    date = models.DateField(unique=True)
    why = models.CharField(max_length=120)

    class Meta:
        ordering = ["date", "pk"]

    def __str__(self) -> str:
        return f"{self.date}: at work, {self.why}"


class ServiceAgreement(models.Model):
    """What was promised a host: the machine is visited at least every so many days."""

    machine = models.OneToOneField(
        Machine, on_delete=models.CASCADE, related_name="service_agreement"
    )
    every_days = models.PositiveSmallIntegerField()
    needs_skill = models.CharField(
        max_length=40, blank=True, help_text="Only a driver with this skill goes there."
    )
    note = models.CharField(max_length=200, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["machine__asset_tag", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(every_days__gte=1, every_days__lte=366),
                name="agreement_days_possible",
                violation_error_message="Give 1 to 366 days.",
            )
        ]

    def __str__(self) -> str:
        often = "day" if self.every_days == 1 else f"{self.every_days} days"
        return f"{self.machine}: every {often}"
