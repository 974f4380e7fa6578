"""By when a ticket is promised to be dealt with, and the hours in which that is reckoned."""

from django.db import models

from fleet.machines.models import Site

from .words import Urgency

WEEKDAYS = list(
    enumerate(["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"])
)
MOST_HOURS = 1000
MOST_DAYS = 60


class PromiseRule(models.Model):
    """What is agreed for an urgency: everywhere, or at one site, whose rule then goes first."""

    class Kind(models.TextChoices):
        WORKING_HOURS = "working_hours", "within so many working hours"
        END_OF_DAY = "end_of_day", "by the end of a working day"
        NONE = "none", "nothing is promised"

    site = models.ForeignKey(
        Site,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="promise_rules",
        help_text="Empty: everywhere that has no rule of its own.",
    )
    urgency = models.CharField(max_length=10, choices=Urgency.choices)
    kind = models.CharField(max_length=13, choices=Kind.choices)
    amount = models.PositiveSmallIntegerField(
        default=0,
        help_text="Working hours; or working days after the day of the report, 0 for that day.",
    )
    active = models.BooleanField("in use", default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["site__name", "urgency", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "urgency"], name="promise_once_an_urgency", nulls_distinct=False
            ),
            models.CheckConstraint(
                condition=models.Q(kind="working_hours", amount__range=(1, MOST_HOURS))
                | models.Q(kind="end_of_day", amount__lte=MOST_DAYS)
                | models.Q(kind="none", amount=0),
                name="promise_amount_possible",
                violation_error_message=f"1 to {MOST_HOURS} hours, 0 to {MOST_DAYS} days, and 0 "
                "where nothing is promised.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_urgency_display()}, {self.site or 'everywhere'}: {self.said}"

    @property
    def said(self) -> str:
        """The rule in words, as a ticket keeps them."""
        if self.kind == self.Kind.WORKING_HOURS:
            return f"within {self.amount} working hour{'' if self.amount == 1 else 's'}"
        if self.kind == self.Kind.NONE:
            return "nothing is promised"
        if self.amount == 0:
            return "by the end of the working day"
        if self.amount == 1:
            return "by the end of the next working day"
        return f"by the end of {self.amount} working days"


class ServiceHours(models.Model):
    """Hours of a weekday that count at sites whose own opening hours are not known."""

    weekday = models.PositiveSmallIntegerField(choices=WEEKDAYS)
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        verbose_name_plural = "service hours"
        ordering = ["weekday", "opens", "pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(weekday__lte=6), name="service_weekday"),
            models.CheckConstraint(
                condition=models.Q(closes__gt=models.F("opens")),
                name="service_closes_after_opens",
            ),
            models.UniqueConstraint(fields=["weekday", "opens"], name="service_hours_once"),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}–{self.closes:%H:%M}"


class ClosedDay(models.Model):
    """A day that counts as closed besides the public holidays: at one site, or everywhere."""

    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.CASCADE, related_name="closed_days"
    )
    date = models.DateField()
    why = models.CharField(max_length=100)

    class Meta:
        ordering = ["date", "site__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "date"], name="closed_day_once", nulls_distinct=False
            )
        ]

    def __str__(self) -> str:
        return f"{self.date}: {self.why} ({self.site or 'everywhere'})"
