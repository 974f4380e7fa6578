"""Audit reads: one file of counters read from a machine, kept byte for byte."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Machine

from .fields import MachineTimeField, count, minor


class AuditRead(models.Model):
    """One audit file as it came, what is known about it, and its place among its machine's reads.

    Accepted reads stand in one row by `place` and are cut into intervals; a waiting one is in the
    tray until a person decides; one set aside takes no part in anything and is kept all the same.
    """

    class State(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        WAITING = "waiting", "waiting for a person"
        SET_ASIDE = "set_aside", "set aside"

    class Source(models.TextChoices):
        API = "api", "the API"
        OFFICE = "office", "the office"
        COMMAND = "command", "the command line"
        FOLDER = "folder", "the watched folder"

    class MatchedBy(models.TextChoices):
        ASSET = "asset", "asset number"
        SERIAL = "serial", "the machine's serial"
        BOARD_SERIAL = "board_serial", "the control board's serial"
        CHOSEN = "chosen", "chosen at upload, nothing in the file against it"
        PERSON = "person", "a person"

    # The file
    raw = models.BinaryField()
    sha256 = models.CharField(max_length=64, unique=True, help_text="Of the whole file.")
    block_sha256 = models.CharField(
        max_length=64, help_text="Of its block of data, line ends as CR LF: one read, two routes."
    )
    name = models.CharField(max_length=200, blank=True)
    size = models.PositiveIntegerField(help_text="Bytes.")
    source = models.CharField(max_length=8, choices=Source.choices)
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when the service took it in by itself.",
    )

    # What became of it
    state = models.CharField(max_length=9, choices=State.choices)
    waiting = models.JSONField(
        default=list,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="Why it waits: code and text of each reason.",
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_reason = models.CharField(max_length=300, blank=True)

    # What it says of itself
    verdict = models.CharField(max_length=24, help_text="Of the check value (CRC-16) in G85.")
    usable_as = models.CharField(max_length=10)
    usable_why = models.JSONField(default=list, blank=True)
    warnings = models.JSONField(default=list, blank=True, encoder=DjangoJSONEncoder)
    asset_read = models.CharField(max_length=256, blank=True)
    serial_read = models.CharField(max_length=256, blank=True)
    board_serial_read = models.CharField(max_length=256, blank=True)
    location_read = models.CharField(max_length=256, blank=True)
    currency = models.CharField(max_length=256, blank=True)
    exponent = models.PositiveSmallIntegerField(default=2)

    # Whose it is
    machine = models.ForeignKey(
        Machine, null=True, blank=True, on_delete=models.PROTECT, related_name="audit_reads"
    )
    matched_by = models.CharField(max_length=12, choices=MatchedBy.choices, blank=True)

    # By what it is ordered: the machine's own words
    clock_text = models.CharField(max_length=40, blank=True)
    clock_at = MachineTimeField(null=True, blank=True)
    clock_follows_summer_time = models.BooleanField(null=True, blank=True)
    this_read_at = MachineTimeField(null=True, blank=True)
    initialised_at = MachineTimeField(null=True, blank=True)
    reads_counter = models.BigIntegerField(null=True, blank=True)
    paid_count = count(help_text="Paid vends ever (VA102).")
    paid_minor = minor(help_text="Paid vends ever (VA101), minor units.")

    # Where it stands
    place = models.PositiveIntegerField(null=True, blank=True)
    placed_by = models.CharField(max_length=20, blank=True)
    placed_why = models.CharField(max_length=400, blank=True)
    bound_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="The latest receipt or believed clock of this and all reads placed before it.",
    )
    doubtful_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="The latest receipt of those among them that their clock did not place.",
    )
    epoch = models.PositiveIntegerField(
        null=True, blank=True, help_text="Fresh starts of the control board, from 1."
    )
    is_late = models.BooleanField(default=False, help_text="Received after later reads.")
    taken_at = models.DateTimeField(null=True, blank=True, help_text="As well as can be known.")
    taken_known_by = models.CharField(max_length=16, blank=True)
    clock_state = models.CharField(max_length=16, blank=True)
    drift_s = models.BigIntegerField(
        null=True, blank=True, help_text="Received less the machine's clock."
    )
    drift_said = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-received_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    state="accepted",
                    machine__isnull=False,
                    place__isnull=False,
                    epoch__isnull=False,
                    taken_at__isnull=False,
                    bound_at__isnull=False,
                    waiting=[],
                )
                | (models.Q(state="waiting", place__isnull=True) & ~models.Q(waiting=[]))
                | (
                    models.Q(state="set_aside", place__isnull=True, settled_at__isnull=False)
                    & ~models.Q(settled_reason="")
                ),
                name="read_state_whole",
            ),
            models.UniqueConstraint(
                fields=["machine", "place"],
                name="read_one_at_a_place",
                deferrable=models.Deferrable.DEFERRED,
            ),
            models.CheckConstraint(
                condition=(models.Q(paid_count__isnull=True) | models.Q(paid_count__gte=0))
                & (models.Q(paid_minor__isnull=True) | models.Q(paid_minor__gte=0)),
                name="read_counters_not_negative",
            ),
        ]
        indexes = [
            models.Index(fields=["block_sha256"], name="read_by_block"),
            models.Index(
                fields=["-received_at"],
                condition=models.Q(state="waiting"),
                name="read_tray",
            ),
            models.Index(fields=["-received_at", "-id"], name="read_latest_first"),
        ]

    def __str__(self) -> str:
        return self.name or f"read {self.sha256[:12]}"

    def key(self) -> str:
        """The name by which the computations know this read."""
        return self.sha256
