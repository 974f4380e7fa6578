"""Filters of the board that a person keeps under a name."""

from datetime import datetime

from django.db import transaction

from people import rows
from people.errors import NotFound, Unacceptable
from people.models import Person

from ..models import BoardView

MOST_VIEWS = 20


@transaction.atomic
def save_view(*, name: str, query: str, actor: Person, now: datetime) -> BoardView:
    """Keep filters under a name; a view of one's own of that name gets the new ones.

    Raises Unacceptable.
    """
    clean = " ".join(name.split())
    if not clean:
        raise Unacceptable("give the view a name", fields={"name": "give the view a name"})
    mine = BoardView.objects.filter(person=actor)
    found = mine.filter(name__iexact=clean).first()
    if found is None and mine.count() >= MOST_VIEWS:
        message = f"{MOST_VIEWS} views are kept; remove one first"
        raise Unacceptable(message, fields={"name": message})
    return rows.put(
        found or BoardView(person=actor),
        {"name": clean, "query": query},
        actor=actor,
        verb="save view of board",
        now=now,
    )


@transaction.atomic
def remove_view(*, key: int, actor: Person, now: datetime) -> None:
    """Forget a view of one's own. Raises NotFound."""
    found = BoardView.objects.filter(person=actor, pk=key).first()
    if found is None:
        raise NotFound(f"there is no view {key}")
    rows.delete(found, actor=actor, verb="remove view of board", now=now)
