"""What a device tells late: an act under a key of the sender's own, which counts once for ever.

A phone in a basement keeps its acts and sends them when it can, some of them twice. Each app that
takes such acts keeps the key, a digest of what was said, and the answer beside what was done.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection

from .errors import Unacceptable
from .models import Person

LONGEST_KEY = 200


@dataclass(frozen=True)
class Sent:
    """The sender's own key for the act, when it happened, and when it was sent, both by the
    sender's clock."""

    key: str
    at: datetime
    sent_at: datetime | None = None


class KeyReused(Unacceptable):
    code = "key_reused"

    def __init__(self, key: str) -> None:
        super().__init__(
            f"the key {key} was used for another act; a new act takes a new key",
            fields={"key": "used for another act"},
        )


def require_key(key: str) -> None:
    """Raises Unacceptable for a key that is empty, too long or not printable."""
    if not key or len(key) > LONGEST_KEY or not key.isprintable():
        message = f"give 1 to {LONGEST_KEY} printable characters of your own, new for each act"
        raise Unacceptable(message, fields={"key": message})


def plain(said: Mapping[str, Any]) -> Any:
    """What was said, as plain JSON values."""
    return json.loads(json.dumps(said, cls=DjangoJSONEncoder))


def digest(*parts: Any) -> str:
    """SHA-256 of plain JSON values, hex: the same act told again has the same."""
    return hashlib.sha256(json.dumps(list(parts), sort_keys=True).encode()).hexdigest()


def alone(actor: Person, sent: Sent, *, what: str) -> None:
    """Waits until nobody else is at this key of this actor, to the end of the transaction.

    Of two at once the second then finds the first one's answer.
    """
    number = hashlib.sha256(f"{what} {actor.pk} {sent.key}".encode()).digest()[:8]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(%s)", [int.from_bytes(number, "big", signed=True)]
        )
