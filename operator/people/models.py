"""People, their devices, what they did, and the business they work for."""

from datetime import date, datetime
from decimal import Decimal
from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.postgres.fields import ArrayField
from django.core.serializers.json import DjangoJSONEncoder
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from timezone_field import TimeZoneField

from .one_row import OneRow
from .roles import Role


class PersonManager(BaseUserManager["Person"]):
    """Finds a person by e-mail, whatever its capitals."""

    def get_by_natural_key(self, username: str | None) -> "Person":
        return self.get(email__iexact=username)


class Person(AbstractBaseUser):
    """Somebody who works for the business and signs in by e-mail."""

    email = models.EmailField("e-mail")
    name = models.CharField(max_length=100)
    roles = ArrayField(
        models.CharField(max_length=12, choices=Role.choices), default=list, blank=True
    )
    phone = models.CharField(max_length=40, blank=True)
    is_active = models.BooleanField("works here", default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[PersonManager] = PersonManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    class Meta:
        verbose_name_plural = "people"
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(Lower("email"), name="person_email_unique_whatever_capitals"),
            models.CheckConstraint(
                condition=models.Q(roles__contained_by=list(Role.values)), name="person_roles_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name

    def has_role(self, *roles: Role) -> bool:
        return self.is_active and any(role in self.roles for role in roles)


class DeviceToken(models.Model):
    """A key that one device of one person shows to the API. Only its digest is kept."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="device_tokens")
    name = models.CharField(max_length=60, help_text="Which device carries it.")
    prefix = models.CharField(max_length=8, help_text="The first characters, to tell tokens apart.")
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the token, hex.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-created_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires_at__gt=models.F("created_at")),
                name="token_expires_after_made",
            ),
            models.CheckConstraint(
                condition=models.Q(revoked_at__isnull=True, revoked_by__isnull=True)
                | models.Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="token_revoked_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"


class AuditEntry(models.Model):
    """Who did what to which row, when, with the values before and after.

    Never changed or deleted.
    """

    at = models.DateTimeField()
    actor = models.ForeignKey(
        Person,
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when the service acted by itself.",
    )
    verb = models.CharField(max_length=60)
    object_type = models.CharField(max_length=60)
    object_id = models.BigIntegerField()
    object_said = models.CharField(max_length=200, help_text="How the row was called at the time.")
    before = models.JSONField(null=True, encoder=DjangoJSONEncoder)
    after = models.JSONField(null=True, encoder=DjangoJSONEncoder)
    reason = models.TextField(blank=True)
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        verbose_name_plural = "audit entries"
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["object_type", "object_id", "-at"], name="audit_of_one_row"),
            models.Index(fields=["actor", "-at"], name="audit_of_one_person"),
        ]

    def __str__(self) -> str:
        return f"{self.verb} {self.object_said}"


class Notice(models.Model):
    """Something that one person should know, said once: on Today, and by e-mail where wanted."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="notices")
    key = models.CharField(
        max_length=120, help_text="What it is about. A person is told of one key once."
    )
    subject = models.CharField(max_length=200)
    text = models.TextField()
    address = models.CharField(
        max_length=200, blank=True, help_text="Where at the desk it leads, as in /tickets/7/."
    )
    at = models.DateTimeField()
    by_mail = models.BooleanField(default=True)
    mailed_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["person", "key"], name="notice_once_a_person"),
            models.CheckConstraint(
                # Two slashes would lead to another server.
                condition=models.Q(address="")
                | (models.Q(address__startswith="/") & ~models.Q(address__startswith="//")),
                name="notice_leads_to_the_desk",
            ),
        ]
        indexes = [
            models.Index(
                fields=["person", "-at"],
                condition=models.Q(seen_at__isnull=True),
                name="notice_not_seen",
            ),
            models.Index(
                fields=["at"],
                condition=models.Q(by_mail=True, mailed_at__isnull=True),
                name="notice_not_mailed",
            ),
        ]

    def __str__(self) -> str:
        return self.subject


class Business(OneRow):
    """The operator's own business: its name, units, money, and the limits it sets columns by.

    One row.
    """

    class Units(models.TextChoices):
        INCHES = "in", "inches"
        MILLIMETRES = "mm", "millimetres"

    name = models.CharField(max_length=100, default="Our business")
    units = models.CharField(max_length=2, choices=Units.choices, default=Units.INCHES)
    currency = models.CharField(max_length=3, default="USD", help_text="ISO 4217, alphabetic.")
    currency_exponent = models.PositiveSmallIntegerField(
        default=2, validators=[MaxValueValidator(4)], help_text="Decimal places of the currency."
    )
    time_zone = TimeZoneField(default="America/New_York", choices_display="STANDARD")
    least_play_mm = models.DecimalField(
        max_digits=6,
        decimal_places=3,
        default=Decimal("6.350"),
        validators=[MinValueValidator(Decimal(0))],
        help_text="A quarter inch by common practice.",
    )
    most_play_mm = models.DecimalField(
        max_digits=6,
        decimal_places=3,
        default=Decimal("19.050"),
        help_text="Looser than this, products shift off the beam.",
    )
    side_clearance_mm = models.DecimalField(
        max_digits=6, decimal_places=3, default=Decimal("2.000")
    )
    test_vends_asked = models.PositiveSmallIntegerField(default=4)

    class Meta:
        verbose_name_plural = "business"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="business_is_one_row"),
            models.CheckConstraint(
                condition=models.Q(most_play_mm__gt=models.F("least_play_mm")),
                name="business_play_band",
            ),
            models.CheckConstraint(
                # Beyond these no column can be computed at all; 1 mm is the room at a cap.
                condition=models.Q(
                    least_play_mm__gte=0, most_play_mm__gte=1, side_clearance_mm__gte=0
                ),
                name="business_limits_possible",
                violation_error_message="The least play and the side clearance are not below "
                "zero, and the most play is at least 1 mm.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def day_of(self, at: datetime) -> date:
        """The day of a moment on the calendar of the business."""
        return at.astimezone(self.time_zone).date()

    def clock_of(self, at: datetime) -> str:
        """A moment on the clock of the business, as a refusal tells it: `2026-03-02 09:14`."""
        return f"{at.astimezone(self.time_zone):%Y-%m-%d %H:%M}"
