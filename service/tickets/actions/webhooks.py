"""Webhooks: who hears of tickets, and each message sent until it is taken or given up."""

import secrets
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from django.conf import settings
from django.db import transaction

from people import rows
from people.errors import Unable, Unacceptable
from people.models import Person

from ...compute.webhook_signature import headers, secret_of
from ..models import WebhookDelivery, WebhookTarget
from ..posting import TIMEOUT_S, Answer, post, refusal

BACK_OFF: Final = tuple(
    timedelta(seconds=s) for s in (5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400)
)
"""After each try that was not taken; as the specification proposes."""
LEASE: Final = timedelta(seconds=4 * TIMEOUT_S)
"""A worker that falls silent while it sends loses the message to another after so long."""
OLD_SECRET_FOR: Final = timedelta(hours=24)
GONE: Final = 410
"""By the specification a target says so when it wants no more."""
CAN_BE_CHANGED: Final = ("name", "url", "events", "active")
State = WebhookDelivery.State


def save_target(
    *,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    target: WebhookTarget | None = None,
) -> WebhookTarget:
    """Add a target, with a new secret, or change its name, address, events, and whether it is used.

    Raises Unacceptable for an address inside our own network, unless the service allows those.
    """
    given = {name: value for name, value in changes.items() if name in CAN_BE_CHANGED}
    if "url" in given:
        wrong = refusal(given["url"], private=settings.WEBHOOK_PRIVATE)
        if wrong:
            raise Unacceptable(f"url: {wrong}", fields={"url": wrong})
    if "events" in given:
        given["events"] = _events(given["events"])
    if given.get("active"):
        given["stopped_because"] = ""
    if target is None:
        fresh = {"secret": _new_secret(), "created_at": now, "created_by": actor}
        return rows.put(WebhookTarget(), fresh | given, actor=actor, verb="add webhook", now=now)
    return rows.put(target, given, actor=actor, verb="change webhook", now=now)


def renew_secret(*, target: WebhookTarget, actor: Person, now: datetime) -> WebhookTarget:
    """Give a target a new secret; the old one signs beside it for a day, so that nothing is lost
    while the receiver changes over."""
    changes = {
        "secret": _new_secret(),
        "old_secret": target.secret,
        "old_secret_until": now + OLD_SECRET_FOR,
    }
    return rows.put(target, changes, actor=actor, verb="renew webhook secret", now=now)


def try_again(*, delivery: WebhookDelivery, actor: Person, now: datetime) -> WebhookDelivery:
    """Send a message that was given up once more, from the first try on. Raises Unable."""
    with transaction.atomic():
        row = WebhookDelivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
        if row.state != State.GIVEN_UP:
            raise Unable(
                f"{row} is {row.get_state_display()}; only what was given up is sent again"
            )
        changes = {"state": State.WAITING, "next_at": now, "ended_at": None, "tries": 0}
        return rows.put(row, changes, actor=actor, verb="send webhook again", now=now)


def due(*, now: datetime) -> list[int]:
    """Messages that are to be sent now, by their keys, the oldest first."""
    waiting = WebhookDelivery.objects.filter(state=State.WAITING, next_at__lte=now)
    return list(waiting.order_by("next_at", "pk").values_list("pk", flat=True)[:500])


def send(*, delivery: int, clock: Callable[[], datetime]) -> bool | None:
    """Send one message that is due; whether it was taken, None when another worker is at it.

    No transaction is open while it is sent: what is due is claimed by moving its time on.
    """
    now = clock()
    claimed = WebhookDelivery.objects.filter(
        pk=delivery, state=State.WAITING, next_at__lte=now
    ).update(next_at=now + LEASE)
    if not claimed:
        return None
    row = WebhookDelivery.objects.select_related("target").get(pk=delivery)
    if not row.target.active:
        _end(row, State.GIVEN_UP, now=now)
        return False
    signed_by = [row.target.secret]
    if row.target.old_secret_until is not None and row.target.old_secret_until > now:
        signed_by.append(row.target.old_secret)
    answer = post(
        row.target.url,
        body=row.body,
        headers=headers(signed_by, message=row.message, at=now, body=row.body),
        private=settings.WEBHOOK_PRIVATE,
    )
    _note(row, answer, began=now, now=clock())
    return answer.taken


def _note(row: WebhookDelivery, answer: Answer, *, began: datetime, now: datetime) -> None:
    row.tries += 1
    row.attempts = [
        *row.attempts,
        {"at": began, "status": answer.status, "said": answer.said, "took_ms": answer.took_ms},
    ]
    if answer.taken:
        _end(row, State.SENT, now=now)
    elif answer.status == GONE:
        _end(row, State.GIVEN_UP, now=now)
        _stop(row.target, now=now)
    elif row.tries > len(BACK_OFF):
        _end(row, State.GIVEN_UP, now=now)
    else:
        wait = BACK_OFF[row.tries - 1]
        # Spread a little, so that what failed together does not come back together.
        row.next_at = now + wait + wait * secrets.randbelow(100) / 1000
        row.save(update_fields=["tries", "attempts", "next_at"])


def _end(row: WebhookDelivery, state: str, *, now: datetime) -> None:
    row.state, row.next_at, row.ended_at = state, None, now
    row.save(update_fields=["state", "next_at", "ended_at", "tries", "attempts"])


def _stop(target: WebhookTarget, *, now: datetime) -> None:
    changes = {"active": False, "stopped_because": "it answered that it is gone (410)"}
    rows.put(target, changes, actor=None, verb="stop webhook", now=now)


def _new_secret() -> str:
    return secret_of(secrets.token_bytes(32))


def _events(given: Any) -> list[str]:
    wanted = [one for one in WebhookTarget.Event.values if one in set(given)]
    unknown = sorted(set(given) - set(wanted))
    if unknown or not wanted:
        said = f"{', '.join(unknown)}: unknown" if unknown else "choose at least one"
        raise Unacceptable(f"events: {said}", fields={"events": said})
    return wanted
