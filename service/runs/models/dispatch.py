"""Tickets on the runs of drivers, and how a dispatcher likes to see the board."""

from django.conf import settings
from django.db import models

from service.tickets.models import Ticket

from .runs import Stop


class TicketStop(models.Model):
    """A ticket that is to be seen to at a stop.

    There is one as long as somebody is on the way to it; its history stands in the ticket's events.
    """

    ticket = models.OneToOneField(Ticket, on_delete=models.CASCADE, related_name="ticket_stop")
    stop = models.ForeignKey(Stop, on_delete=models.CASCADE, related_name="ticket_stops")
    minutes = models.PositiveSmallIntegerField(
        help_text="Of the stop's time at the machine that are for this ticket."
    )
    put_at = models.DateTimeField()
    put_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["stop", "pk"]

    def __str__(self) -> str:
        return f"{self.ticket} on {self.stop}"


class BoardView(models.Model):
    """Filters of the board that a person keeps under a name."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="board_views"
    )
    name = models.CharField(max_length=40)
    query = models.CharField(max_length=500, help_text="As it stands in the board's address.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["person", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "name"],
                name="board_view_named_once",
                violation_error_message="You have a view of this name already.",
            )
        ]

    def __str__(self) -> str:
        return self.name
