"""What hosts are promised of the receipts at their sites, and what they were told and paid."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Site
from fleet.machines.models.fields import Days, money


def signed_money(**kwargs: object) -> models.DecimalField:
    """Money that may be below nothing."""
    return models.DecimalField(max_digits=14, decimal_places=4, **kwargs)  # type: ignore[arg-type]


class Agreement(models.Model):
    """How the host of a site is paid, in `[starts_on, ends_on)`; an empty end is still running.

    `terms` holds percents by product class, steps, minimum and base as text, in the shape that
    `fleet.sales.terms.terms_from` reads.
    """

    class Rhythm(models.TextChoices):
        MONTHLY = "monthly", "monthly"
        QUARTERLY = "quarterly", "quarterly"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="agreements")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True, help_text="The first day it holds no more.")
    rhythm = models.CharField(max_length=9, choices=Rhythm.choices, default=Rhythm.MONTHLY)
    terms = models.JSONField()
    note = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["site__name", "-starts_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_on__isnull=True)
                | models.Q(ends_on__gt=models.F("starts_on")),
                name="agreement_ends_after_start",
                violation_error_message="the agreement must end after it starts",
            ),
            ExclusionConstraint(
                name="agreement_one_at_a_time",
                expressions=[("site", RangeOperators.EQUAL), (Days(), RangeOperators.OVERLAPS)],
                violation_error_message="another agreement of this site holds on some of these "
                "days; end it first",
            ),
        ]

    def __str__(self) -> str:
        return f"agreement with {self.site} from {self.starts_on}"


class Statement(models.Model):
    """What a host was told for a period. Frozen when issued; when it was mailed, and which
    statement carried over what it left below nothing, are set later.

    `figures` says how every amount was made, and `digest` is the SHA-256 of it as canonical JSON.
    """

    number = models.PositiveIntegerField(unique=True)
    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="statements")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="statements")
    starts_on = models.DateField()
    ends_on = models.DateField(help_text="The first day after it.")
    currency = models.CharField(max_length=3)
    receipts = signed_money(help_text="What customers paid.")
    base = signed_money(help_text="What the percents were taken of.")
    commission = money()
    minimum_added = money()
    amount = money(help_text="Commission, and what made up the minimum.")
    carried = signed_money(help_text="Corrections of earlier statements.")
    carried_over = signed_money(
        default=0, help_text="What earlier statements left below nothing, taken off here."
    )
    due = signed_money(help_text="The amount with what was carried and carried over.")
    figures = models.JSONField(encoder=DjangoJSONEncoder)
    digest = models.CharField(max_length=64)
    host_name = models.CharField(max_length=120, blank=True)
    host_email = models.EmailField(blank=True)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    carried_over_on = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="carries_over",
        help_text="The statement that takes off what this one left below nothing.",
    )
    mail_asked_at = models.DateTimeField(null=True, blank=True)
    mailed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = "statement of commission"
        ordering = ["-starts_on", "-number"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_on__gt=models.F("starts_on")),
                name="statement_ends_after_start",
            ),
            ExclusionConstraint(
                name="statement_one_a_period",
                expressions=[("site", RangeOperators.EQUAL), (Days(), RangeOperators.OVERLAPS)],
                violation_error_message="this period was issued already; correct that statement",
            ),
            models.CheckConstraint(
                condition=models.Q(amount=models.F("commission") + models.F("minimum_added"))
                & models.Q(due=models.F("amount") + models.F("carried") + models.F("carried_over")),
                name="statement_adds_up",
            ),
            models.CheckConstraint(
                condition=models.Q(carried_over__lte=0), name="statement_carries_over_what_is_less"
            ),
            models.CheckConstraint(
                condition=models.Q(carried_over_on__isnull=True)
                | models.Q(due__lt=0) & ~models.Q(carried_over_on=models.F("pk")),
                name="statement_carried_over_on_another",
            ),
        ]
        indexes = [models.Index(fields=["-starts_on", "-number"], name="statement_latest_first")]

    def __str__(self) -> str:
        return f"statement {self.number}"


class StatementCorrection(models.Model):
    """What an issued statement had wrong, as a line on the next one. Never changed or deleted."""

    statement = models.ForeignKey(Statement, on_delete=models.PROTECT, related_name="corrections")
    amount = signed_money(help_text="More for the host, or less where it is below nothing.")
    reason = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    carried_on = models.ForeignKey(
        Statement, null=True, blank=True, on_delete=models.PROTECT, related_name="carries"
    )

    class Meta:
        verbose_name = "correction of a statement"
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(amount=0) & ~models.Q(reason=""),
                name="correction_says_how_much_and_why",
            ),
            models.CheckConstraint(
                condition=models.Q(carried_on__isnull=True)
                | ~models.Q(carried_on=models.F("statement")),
                name="correction_carried_on_another",
            ),
        ]

    def __str__(self) -> str:
        return f"correction of {self.statement}: {self.amount:.2f}"


class StatementPayment(models.Model):
    """Money that went to a host for a statement. Never changed or deleted."""

    statement = models.ForeignKey(Statement, on_delete=models.PROTECT, related_name="payments")
    amount = money()
    paid_on = models.DateField()
    reference = models.CharField(max_length=60, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name = "payment of a statement"
        ordering = ["paid_on", "pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(amount__gt=0), name="payment_of_something")
        ]

    def __str__(self) -> str:
        return f"{self.amount:.2f} for {self.statement}"
