"""What was sold between two reads: of the whole machine, and of each column."""

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Column, Machine, Selection, SetUp

from .fields import count, minor, not_negative
from .reads import AuditRead

SOLD = (
    "paid_units",
    "paid_minor",
    "test_units",
    "test_minor",
    "free_units",
    "free_minor",
    "discount_units",
    "discount_minor",
    "cash_units",
    "cash_minor",
    "cashless_units",
    "cashless_minor",
)
CASH = (
    "cash_in_minor",
    "cash_to_box_minor",
    "cash_to_tubes_minor",
    "bills_in_minor",
    "cash_out_minor",
    "cash_out_by_hand_minor",
)


class Sold(models.Model):
    """Vends and money. Cash, cashless and discounts are parts of paid. Empty is not known."""

    paid_units = count()
    paid_minor = minor()
    test_units = count()
    test_minor = minor()
    free_units = count()
    free_minor = minor()
    discount_units = count()
    discount_minor = minor()
    cash_units = count()
    cash_minor = minor()
    cashless_units = count()
    cashless_minor = minor()

    class Meta:
        abstract = True


class MachineInterval(Sold):
    """What one machine sold in `[starts_at, ends_at)`, by its own totals at two reads."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="intervals")
    from_read = models.OneToOneField(
        AuditRead, on_delete=models.PROTECT, related_name="interval_from"
    )
    to_read = models.OneToOneField(AuditRead, on_delete=models.PROTECT, related_name="interval_to")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    currency = models.CharField(max_length=256, blank=True)
    exponent = models.PositiveSmallIntegerField()

    cash_in_minor = minor()
    cash_to_box_minor = minor()
    cash_to_tubes_minor = minor()
    bills_in_minor = minor()
    cash_out_minor = minor()
    cash_out_by_hand_minor = minor()
    other_figures = models.JSONField(
        default=dict, blank=True, help_text="The machine's further totals, by name."
    )

    quality = models.CharField(max_length=16)
    sum_agrees = models.BooleanField(help_text="The lines add up to the machine, figure by figure.")
    why_not = models.JSONField(default=list, blank=True, help_text="Where they do not, and why.")
    devices = models.JSONField(
        default=list,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="Each device's counters: absent, same, wrapped, or started afresh and why.",
    )
    awaits_decision = models.BooleanField(default=False)
    warnings = models.JSONField(default=list, blank=True, encoder=DjangoJSONEncoder)

    class Meta:
        ordering = ["machine", "-ends_at", "-pk"]
        constraints = [
            not_negative((*SOLD, *CASH), "machine_interval_nothing_negative"),
            models.CheckConstraint(
                condition=models.Q(ends_at__gte=models.F("starts_at")),
                name="machine_interval_ends_after_start",
            ),
            models.CheckConstraint(
                condition=~models.Q(from_read=models.F("to_read")),
                name="machine_interval_two_reads",
            ),
            models.CheckConstraint(
                condition=models.Q(sum_agrees=True, why_not=[])
                | (models.Q(sum_agrees=False) & ~models.Q(why_not=[])),
                name="machine_interval_adds_up_or_says_why",
            ),
        ]
        indexes = [
            models.Index(fields=["machine", "-ends_at"], name="interval_of_machine"),
            models.Index(fields=["ends_at"], name="interval_by_end"),
            models.Index(
                fields=["machine"],
                condition=models.Q(awaits_decision=True),
                name="interval_awaits_decision",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} until {self.ends_at:%Y-%m-%d %H:%M}"


class SaleInterval(Sold):
    """What one column sold in an interval, with money and whether it ran dry.

    A selection that draws on several columns is shared out among them and says so. A selection
    that the machine's record does not know has no column. One line a machine interval may be
    unassigned: what the machine counted and no selection accounts for.
    """

    interval = models.ForeignKey(MachineInterval, on_delete=models.CASCADE, related_name="lines")
    column = models.ForeignKey(
        Column, null=True, blank=True, on_delete=models.SET_NULL, related_name="sale_intervals"
    )
    selection = models.ForeignKey(
        Selection, null=True, blank=True, on_delete=models.SET_NULL, related_name="sale_intervals"
    )
    selection_code = models.CharField(max_length=256, blank=True, help_text="As the file has it.")
    ordinal = models.PositiveSmallIntegerField(
        default=1, help_text="Which of several selections of one id in the file."
    )
    is_unassigned = models.BooleanField(default=False)
    set_up = models.ForeignKey(
        SetUp, null=True, blank=True, on_delete=models.PROTECT, related_name="sale_intervals"
    )
    spans_set_ups = models.BooleanField(
        default=False, help_text="The column's set-up changed in the interval; the longer is named."
    )
    is_share = models.BooleanField(default=False)
    share_said = models.CharField(max_length=200, blank=True)
    price_minor = minor(help_text="At the later read.")
    ran_dry = models.CharField(
        max_length=8, blank=True, help_text="How far the best sign is to be believed; empty: none."
    )
    evidence = models.JSONField(default=list, blank=True, encoder=DjangoJSONEncoder)
    how = models.JSONField(
        default=dict, blank=True, help_text="Figures that were not plainly counted, and how."
    )

    class Meta:
        ordering = ["interval", "is_unassigned", "selection_code", "pk"]
        constraints = [
            not_negative((*SOLD, "price_minor"), "sale_interval_nothing_negative"),
            models.CheckConstraint(
                condition=models.Q(is_unassigned=False)
                | models.Q(
                    column__isnull=True,
                    selection__isnull=True,
                    set_up__isnull=True,
                    is_share=False,
                ),
                name="sale_interval_unassigned_has_no_column",
            ),
            models.CheckConstraint(
                condition=models.Q(is_share=False, share_said="")
                | (models.Q(is_share=True) & ~models.Q(share_said="")),
                name="sale_interval_share_says_how",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.selection_code or 'unassigned'} of {self.interval}"
