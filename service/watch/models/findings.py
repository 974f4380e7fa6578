"""What the watch suspects from the numbers, and what became of it."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Column, Machine, Product

from .looks import Look


class Finding(models.Model):
    """Something about one machine, or one column of it, that the numbers say is wrong.

    It opens when the evidence is strong enough, is brought up to date by every look that still sees
    it, and closes itself when the numbers recover. `strength` is in orders of magnitude: minus the
    common logarithm of the chance of seeing as much where nothing is wrong, or the logarithm of how
    many times a limit is exceeded where nothing is left to chance.
    """

    class Kind(models.TextChoices):
        SILENT = "silent", "silent column"
        TWO_FOR_ONE = "two_for_one", "two for one"
        MISSING = "missing", "units missing"
        PRICE = "price", "takings against price"
        CASH = "cash", "cash against the meter"
        WARM = "warm", "cabinet warm"
        POWER = "power", "power lost again and again"
        CLOCK = "clock", "clock wrong"
        SOLD_OUT = "sold_out", "losses while sold out"
        EVENT = "event", "the machine reports it"
        FOOD = "food", "food too warm or not hot enough"

    class State(models.TextChoices):
        OPEN = "open", "open"
        TICKETED = "ticketed", "has a ticket"
        DISMISSED = "dismissed", "dismissed"
        RECOVERED = "recovered", "recovered"

    class Reason(models.TextChoices):
        NOTHING_WRONG = "nothing_wrong", "looked: nothing was wrong"
        EXPECTED = "expected", "expected: closed, moved, or agreed"
        COUNTED_WRONG = "counted_wrong", "somebody counted or filled otherwise than written"
        KNOWN = "known", "known and being seen to"
        TOO_SMALL = "too_small", "too small to matter"

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="findings")
    column = models.ForeignKey(
        Column, null=True, blank=True, on_delete=models.PROTECT, related_name="findings"
    )
    product = models.ForeignKey(
        Product,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="What the column held.",
    )
    kind = models.CharField(max_length=12, choices=Kind.choices)
    key = models.CharField(
        max_length=40,
        blank=True,
        help_text="What tells findings of one kind apart: an event's code.",
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    since = models.DateTimeField(
        null=True, blank=True, help_text="Since when it is wrong, as far as the numbers tell."
    )
    opened_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    looks = models.PositiveIntegerField(default=1, help_text="Looks that have seen it.")
    look = models.ForeignKey(
        Look,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty: no look found it, another part of the service told of it.",
    )
    strength = models.FloatField()
    strength_said = models.CharField(max_length=120)
    said = models.CharField(max_length=300, help_text="What is suspected, in one sentence.")
    evidence = models.JSONField(
        default=dict,
        encoder=DjangoJSONEncoder,
        help_text="figures: what is known, by name; chart: series by day, for a small chart.",
    )
    causes = models.JSONField(
        default=list,
        encoder=DjangoJSONEncoder,
        help_text="The likeliest first: code, words, weight, why, what to check, cases.",
    )
    signs = models.JSONField(
        default=dict,
        help_text="What was known of the place, by sign: yes or no. Causes learn by it.",
    )
    ticket = models.ForeignKey(
        "tickets.Ticket",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="findings",
    )
    ticketed_at = models.DateTimeField(null=True, blank=True)
    dismissed_at = models.DateTimeField(null=True, blank=True)
    dismissed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    dismissed_reason = models.CharField(max_length=14, choices=Reason.choices, blank=True)
    dismissed_note = models.CharField(max_length=300, blank=True)
    teaches = models.BooleanField(
        default=False, help_text="Its dismissal asks for stronger evidence the next time."
    )
    quiet_until = models.DateTimeField(
        null=True, blank=True, help_text="Until then the same is not found again."
    )
    recovered_at = models.DateTimeField(null=True, blank=True)
    recovered_said = models.CharField(max_length=200, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-strength", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "column", "kind", "key"],
                condition=models.Q(state__in=["open", "ticketed"]),
                nulls_distinct=False,
                name="finding_one_open_of_a_kind",
            ),
            models.CheckConstraint(
                condition=models.Q(state="open", ticket__isnull=True)
                | models.Q(state="ticketed", ticket__isnull=False, ticketed_at__isnull=False)
                | (
                    models.Q(
                        state="dismissed", dismissed_at__isnull=False, dismissed_by__isnull=False
                    )
                    & ~models.Q(dismissed_reason="")
                )
                | models.Q(state="recovered", recovered_at__isnull=False),
                name="finding_state_whole",
            ),
            models.CheckConstraint(
                condition=models.Q(last_seen_at__gte=models.F("opened_at")),
                name="finding_seen_after_it_opened",
            ),
            models.CheckConstraint(condition=~models.Q(said=""), name="finding_says_something"),
        ]
        indexes = [
            models.Index(fields=["state", "-strength", "id"], name="finding_by_strength"),
            models.Index(fields=["machine", "-opened_at"], name="finding_of_machine"),
        ]

    def __str__(self) -> str:
        where = self.machine if self.column is None else self.column
        return f"{self.get_kind_display()}: {where}"


class Verdict(models.Model):
    """Whether a finding was true, as it turned out: by its ticket's cause, or by its dismissal.

    The watch's quality is measured on these, and the order of causes learns from them.
    """

    class Said(models.TextChoices):
        TRUE = "true", "true"
        FALSE = "false", "false"
        UNCLEAR = "unclear", "not clear"

    class By(models.TextChoices):
        TICKET = "ticket", "what the ticket was closed with"
        DISMISSAL = "dismissal", "its dismissal"

    finding = models.OneToOneField(Finding, on_delete=models.CASCADE, related_name="verdict")
    said = models.CharField(max_length=8, choices=Said.choices)
    by = models.CharField(max_length=10, choices=By.choices)
    cause = models.ForeignKey(
        "tickets.Cause", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()
    delay_days = models.FloatField(
        null=True, blank=True, help_text="From when it went wrong until it was found, in days."
    )

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(by="ticket") | models.Q(cause__isnull=True),
                name="verdict_cause_from_a_ticket",
            )
        ]
        indexes = [models.Index(fields=["-at"], name="verdict_latest_first")]

    def __str__(self) -> str:
        return f"{self.finding}: {self.get_said_display()}"
