"""What is owed to authorities: the rules that ask for it, each turn of it, and what was done."""

from typing import Final

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models

from fleet.machines.models import Machine, Site

from .evidence import Evidence

MOST_MONTHS: Final = 120
STATE_CODE = RegexValidator(r"^[A-Z]{2}$", "Write a state by its two letters, as in PA.")
MONTH_DAY = RegexValidator(
    r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$", "Write a day of the year as month-day: 01-31."
)


class DutyKind(models.TextChoices):
    PERMIT = "permit", "permit or licence"
    DECAL = "decal", "decal"
    REGISTRATION = "registration", "registration"
    INSPECTION = "inspection", "inspection"
    INSURANCE = "insurance", "insurance"
    NOTICE = "notice", "notice on machines"
    RECORDS = "records", "records to keep"


class Subject(models.TextChoices):
    BUSINESS = "business", "the business"
    SITE = "site", "each site"
    MACHINE = "machine", "each machine"


class SourceStatus(models.TextChoices):
    """How far the source of a rule was checked before it was written down."""

    READ = "read", "verified: the rule itself was read"
    SECONDARY = "secondary", "unverified: told by a text about the rule"
    MEMORY = "memory", "unverified: from memory"


class DutyRule(models.Model):
    """A rule that asks something of the business, its sites or its machines, and how often.

    One of a pack keeps the pack's key; whatever the operator changes on it stays changed when the
    pack is taken in again.
    """

    class Origin(models.TextChoices):
        PACK = "pack", "of a pack"
        OWN = "own", "our own"

    class AppliesTo(models.TextChoices):
        EVERY = "every", "every one"
        KEPT = "kept", "where food is kept cold or hot for safety"

    key = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=12, choices=DutyKind.choices)
    subject = models.CharField(max_length=8, choices=Subject.choices)
    applies_to = models.CharField(max_length=5, choices=AppliesTo.choices, default=AppliesTo.EVERY)
    state = models.CharField(
        max_length=2, blank=True, validators=[STATE_CODE], help_text="Empty: in every state."
    )
    title = models.CharField(max_length=120)
    said = models.TextField(help_text="What is asked for, in plain words.")
    authority = models.CharField(max_length=120, help_text="To whom it is owed.")
    citation = models.CharField(max_length=200)
    status = models.CharField(max_length=9, choices=SourceStatus.choices)
    every_months = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(MOST_MONTHS)],
        help_text="Empty: once, and it stays done.",
    )
    month_day = models.CharField(
        max_length=5,
        blank=True,
        validators=[MONTH_DAY],
        help_text="Where it falls on a day of the year: month-day, as in 01-31.",
    )
    notice_days = models.PositiveSmallIntegerField(
        default=30,
        validators=[MaxValueValidator(365)],
        help_text="So many days before it is due its owner is reminded.",
    )
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who sees to it. Empty: the owners of the business.",
    )
    origin = models.CharField(max_length=4, choices=Origin.choices, default=Origin.OWN)
    active = models.BooleanField("in use", default=True)
    made_at = models.DateTimeField()
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["state", "title", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(every_months__isnull=True)
                | models.Q(every_months__range=(1, MOST_MONTHS)),
                name="duty_rule_months_possible",
            ),
            models.CheckConstraint(
                condition=~models.Q(title="") & ~models.Q(said="") & ~models.Q(key=""),
                name="duty_rule_says_something",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title} ({self.state})" if self.state else self.title


class Duty(models.Model):
    """One turn of what is owed: by when, for what, who sees to it.

    A rule has one open turn for the business, a site or a machine. A duty without a rule is one
    that somebody wrote down by hand.
    """

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        FELL_AWAY = "fell_away", "no longer asked for"

    rule = models.ForeignKey(
        DutyRule, null=True, blank=True, on_delete=models.PROTECT, related_name="duties"
    )
    kind = models.CharField(max_length=12, choices=DutyKind.choices)
    subject = models.CharField(max_length=8, choices=Subject.choices)
    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="duties"
    )
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="duties"
    )
    title = models.CharField(max_length=120)
    authority = models.CharField(max_length=120, blank=True)
    citation = models.CharField(max_length=200, blank=True)
    status = models.CharField(max_length=9, choices=SourceStatus.choices, blank=True)
    every_months = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(MOST_MONTHS)]
    )
    notice_days = models.PositiveSmallIntegerField(default=30, validators=[MaxValueValidator(365)])
    due_on = models.DateField()
    because = models.CharField(max_length=200, help_text="Why it is due that day.")
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="duties",
        help_text="Who sees to it. Empty: the owners of the business.",
    )
    state = models.CharField(max_length=9, choices=State.choices, default=State.OPEN)
    note = models.CharField(max_length=300, blank=True)
    reminded_at = models.DateTimeField(null=True, blank=True)
    late_told_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    sequence = models.PositiveIntegerField(
        default=0, help_text="Goes up with each change that a calendar shows (RFC 5545)."
    )
    changed_at = models.DateTimeField(help_text="When what a calendar shows changed last.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "duties"
        ordering = ["due_on", "title", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["rule", "site", "machine"],
                condition=models.Q(state="open", rule__isnull=False),
                nulls_distinct=False,
                name="duty_one_open_of_a_rule",
            ),
            models.CheckConstraint(
                condition=models.Q(subject="business", site__isnull=True, machine__isnull=True)
                | models.Q(subject="site", site__isnull=False, machine__isnull=True)
                | models.Q(subject="machine", site__isnull=True, machine__isnull=False),
                name="duty_of_its_subject",
                violation_error_message="Name the site or the machine that it is about, as its "
                "subject says, and nothing else.",
            ),
            models.CheckConstraint(
                condition=models.Q(state="open", closed_at__isnull=True)
                | (~models.Q(state="open") & models.Q(closed_at__isnull=False)),
                name="duty_closed_has_its_moment",
            ),
            models.CheckConstraint(condition=~models.Q(title=""), name="duty_has_a_title"),
        ]
        indexes = [
            models.Index(
                fields=["due_on"], condition=models.Q(state="open"), name="duty_open_by_day"
            )
        ]

    def __str__(self) -> str:
        about = self.machine or self.site
        return f"{self.title}: {about}" if about else self.title


class DutyDone(models.Model):
    """That a turn was seen to, with what proves it. Never changed; a mistake is set aside."""

    duty = models.ForeignKey(Duty, on_delete=models.PROTECT, related_name="done")
    done_on = models.DateField()
    valid_until = models.DateField(
        null=True, blank=True, help_text="As the paper says; the next turn is due by then."
    )
    number = models.CharField(
        max_length=60, blank=True, help_text="Of the permit, decal, policy or certificate."
    )
    note = models.CharField(max_length=300, blank=True)
    evidence = models.ForeignKey(
        Evidence, null=True, blank=True, on_delete=models.PROTECT, related_name="duties_done"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(help_text="When it was written down.")
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    set_aside_why = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name = "duty done"
        verbose_name_plural = "duties done"
        ordering = ["-done_on", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["duty"],
                condition=models.Q(set_aside_at__isnull=True),
                name="duty_done_once",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    set_aside_at__isnull=True, set_aside_by__isnull=True, set_aside_why=""
                )
                | (
                    models.Q(set_aside_at__isnull=False, set_aside_by__isnull=False)
                    & ~models.Q(set_aside_why="")
                ),
                name="duty_done_set_aside_says_why",
            ),
            models.CheckConstraint(
                condition=models.Q(valid_until__isnull=True)
                | models.Q(valid_until__gte=models.F("done_on")),
                name="duty_done_valid_afterwards",
                violation_error_message="It cannot end before it was done.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.duty}, {self.done_on}"
