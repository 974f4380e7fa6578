"""What could not be done with a ticket, and why. Nothing was changed."""

from collections.abc import Sequence
from datetime import datetime

from people.errors import NotAllowed, Unable

from ..models import Ticket, TicketEvent
from ..states import Verb, verbs_in


def moment(at: datetime, ticket: Ticket) -> str:
    """A moment as the people at the machine would say it."""
    zone = None if ticket.site is None else ticket.site.time_zone
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}"


class IllegalMove(Unable):
    """The state of the ticket does not allow it."""

    code = "illegal_move"

    def __init__(self, ticket: Ticket, verb: Verb, last: TicketEvent | None = None) -> None:
        who = "" if last is None or last.actor is None else f" by {last.actor}"
        since = "" if last is None else f" since {moment(last.recorded_at, ticket)}{who}"
        can = ", ".join(str(one).replace("_", " ") for one in verbs_in(ticket.state))
        super().__init__(
            f"{ticket} is {ticket.get_state_display()}{since}: {str(verb).replace('_', ' ')} is "
            f"not possible then; possible are {can}"
        )


class ChangedMeanwhile(Unable):
    """Somebody else did something since the page was shown."""

    code = "changed_meanwhile"

    def __init__(self, ticket: Ticket, events: Sequence[TicketEvent]) -> None:
        said = "; ".join(
            f"{Verb(one.verb).words}{f' {one.said}' if one.said else ''}"
            f"{f' by {one.actor}' if one.actor else ''} at {moment(one.recorded_at, ticket)}"
            for one in events
        )
        super().__init__(f"{ticket} was changed since you looked at it: {said}. Look again")
        self.events = tuple(events)


class GivenToAnother(Unable):
    code = "given_to_another"

    def __init__(self, ticket: Ticket) -> None:
        super().__init__(f"{ticket} is given to {ticket.given_to}; ask the dispatcher")


class NotYours(NotAllowed):
    def __init__(self, ticket: Ticket) -> None:
        super().__init__(f"{ticket} is not given to you")


class TooLongAgo(Unable):
    code = "too_long_ago"


class OpenedAgain(Unable):
    code = "opened_again"


class OverLimit(Unable):
    code = "over_limit"
