"""What card processors say they paid out: files as they came, and their lines."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models

from fleet.machines.models import Machine
from fleet.machines.models.fields import Days

from .commission import signed_money


class SettlementMapping(models.Model):
    """Which column of an operator's settlement file says what, and how it is written."""

    class DayOrder(models.TextChoices):
        YEAR_FIRST = "year_first", "2026-11-25"
        MONTH_FIRST = "month_first", "11/25/2026"
        DAY_FIRST = "day_first", "25/11/2026"

    class Delimiter(models.TextChoices):
        COMMA = ",", "comma"
        SEMICOLON = ";", "semicolon"
        TAB = "\t", "tab"
        BAR = "|", "upright bar"

    class DecimalMark(models.TextChoices):
        POINT = ".", "point"
        COMMA = ",", "comma"

    name = models.CharField(max_length=60, unique=True)
    date_column = models.CharField(max_length=60)
    amount_column = models.CharField(max_length=60, help_text="What customers paid by card.")
    terminal_column = models.CharField(
        max_length=60, help_text="The terminal's code, or the machine's number."
    )
    fee_column = models.CharField(max_length=60, blank=True)
    reference_column = models.CharField(max_length=60, blank=True)
    day_order = models.CharField(
        max_length=11, choices=DayOrder.choices, default=DayOrder.YEAR_FIRST
    )
    delimiter = models.CharField(max_length=1, choices=Delimiter.choices, default=Delimiter.COMMA)
    decimal_mark = models.CharField(
        max_length=1, choices=DecimalMark.choices, default=DecimalMark.POINT
    )
    amounts_are_negative = models.BooleanField(
        default=False, help_text="Sales stand below nothing in the file."
    )
    fees_are_negative = models.BooleanField(
        default=False, help_text="Fees stand below nothing in the file."
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "columns of settlements"
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(delimiter=models.F("decimal_mark")),
                name="mapping_delimiter_is_not_the_decimal_mark",
                violation_error_message="amounts cannot use the mark that parts the columns",
            )
        ]

    def __str__(self) -> str:
        return self.name


class CardTerminalSet(models.QuerySet["CardTerminal"]):
    """Entries of terminals."""

    def standing(self) -> "CardTerminalSet":
        """Those that were not withdrawn."""
        return self.filter(withdrawn_at__isnull=True)


class CardTerminal(models.Model):
    """A terminal's code, and the machine it hangs in, in `[starts_on, ends_on)`.

    A wrong entry is withdrawn and stays as evidence; what is right stands in another, which says
    instead of which.
    """

    code = models.CharField(max_length=60)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="card_terminals")
    starts_on = models.DateField()
    ends_on = models.DateField(
        null=True, blank=True, help_text="The first day it hangs there no more."
    )
    instead_of = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)

    objects = CardTerminalSet.as_manager()

    class Meta:
        verbose_name = "entry of a card terminal"
        verbose_name_plural = "entries of card terminals"
        ordering = ["code", "-starts_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(code="")
                & (models.Q(ends_on__isnull=True) | models.Q(ends_on__gt=models.F("starts_on"))),
                name="card_terminal_ends_after_start",
                violation_error_message="a terminal must leave a machine after it came there",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at__isnull=True, withdrawn_why="")
                | models.Q(withdrawn_at__isnull=False) & ~models.Q(withdrawn_why=""),
                name="card_terminal_withdrawn_says_why",
            ),
            ExclusionConstraint(
                name="card_terminal_in_one_machine",
                expressions=[("code", RangeOperators.EQUAL), (Days(), RangeOperators.OVERLAPS)],
                condition=models.Q(withdrawn_at__isnull=True),
                violation_error_message="another entry says where this terminal hangs on some of "
                "these days; end or correct that one first",
            ),
        ]

    def __str__(self) -> str:
        return f"terminal {self.code} in {self.machine}"


class SettlementFile(models.Model):
    """A file of settlements as it came. Never changed; taken in once."""

    name = models.CharField(max_length=200)
    raw = models.BinaryField()
    sha256 = models.CharField(max_length=64, unique=True)
    mapping = models.ForeignKey(SettlementMapping, on_delete=models.PROTECT, related_name="files")
    columns = models.JSONField(
        default=dict,
        editable=False,
        help_text="The mapping as it stood when the file was taken in.",
    )
    loaded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name = "file of settlements"
        ordering = ["-pk"]

    def __str__(self) -> str:
        return self.name


class SettlementLine(models.Model):
    """One line of a settlement: gross is what customers paid, and net what came after the fee."""

    why: str = ""
    """Why a line has no machine, where `queries.cards.matched` says so; no column."""

    file = models.ForeignKey(SettlementFile, on_delete=models.PROTECT, related_name="lines")
    row = models.PositiveIntegerField(help_text="The line in the file, its head being 1.")
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="settlement_lines"
    )
    terminal = models.CharField(max_length=60, help_text="As the file has it.")
    day = models.DateField()
    gross = signed_money()
    fee = signed_money()
    net = signed_money()
    reference = models.CharField(max_length=100, blank=True)

    class Meta:
        verbose_name = "line of a settlement"
        ordering = ["file", "row"]
        constraints = [
            models.UniqueConstraint(fields=["file", "row"], name="settlement_line_once"),
            models.CheckConstraint(
                condition=models.Q(net=models.F("gross") - models.F("fee")),
                name="settlement_line_adds_up",
            ),
        ]
        indexes = [
            models.Index(fields=["day", "machine"], name="settlement_line_by_day"),
            models.Index(
                fields=["terminal"],
                condition=models.Q(machine__isnull=True),
                name="settlement_line_unmatched",
            ),
        ]

    def __str__(self) -> str:
        return f"line {self.row} of {self.file}"
