"""What the watch refuses."""

from people.errors import Unable


class UnableToLook(Unable):
    code = "unable_to_look"


class UnableToDismiss(Unable):
    code = "unable_to_dismiss"


class UnableToTicket(Unable):
    code = "unable_to_ticket"


class PartLost(Exception):
    """Another worker took the part over; what this one saw is not kept."""
