"""The words in which faults are told and explained: lists that the business may change."""

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models

_CODE = RegexValidator(r"^[a-z][a-z0-9_]*$", "Small letters, digits and underscores.")


class Urgency(models.TextChoices):
    """How soon somebody must go, the most urgent first."""

    DOWN = "down", "takes no money or sells nothing"
    PART = "part", "one selection or one way of paying"
    MONEY = "money", "a refund"
    WHEN_THERE = "when_there", "at the next visit"


class Symptom(models.Model):
    """What somebody sees that is wrong, and what to look at first."""

    code = models.CharField(max_length=30, unique=True, validators=[_CODE])
    words = models.CharField(max_length=80, unique=True)
    urgency = models.CharField(
        max_length=10, choices=Urgency.choices, help_text="Unless the report says otherwise."
    )
    asks_column = models.BooleanField(
        "asks for the selection", default=False, help_text="The fault is one column's."
    )
    work_minutes = models.PositiveSmallIntegerField(
        default=30,
        validators=[MinValueValidator(1), MaxValueValidator(480)],
        help_text="At the machine, without the way there. Assumed until visits are known.",
    )
    needs_skill = models.CharField(
        max_length=40, blank=True, help_text="Only a driver with this skill is sent for it."
    )
    first_checks = models.TextField(blank=True, help_text="What to look at first, one a line.")
    cautions = models.TextField(blank=True, help_text="What to mind before touching it.")
    order = models.PositiveSmallIntegerField(default=100)
    public_words = models.CharField(
        max_length=80,
        blank=True,
        help_text="As a customer says it on the page behind the sticker; empty: not asked there.",
    )
    active = models.BooleanField("in use", default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["order", "words", "pk"]

    def __str__(self) -> str:
        return self.words


class Cause(models.Model):
    """What turned out to be behind a fault."""

    code = models.CharField(max_length=30, unique=True, validators=[_CODE])
    words = models.CharField(max_length=80, unique=True)
    nothing_wrong = models.BooleanField(
        default=False, help_text="The machine itself was in order: a suspicion was false."
    )
    order = models.PositiveSmallIntegerField(default=100)
    active = models.BooleanField("in use", default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["order", "words", "pk"]

    def __str__(self) -> str:
        return self.words
