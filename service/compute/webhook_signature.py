"""Signatures of webhooks by the Standard Webhooks specification, version 1.0, symmetric.

https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md
"""

import base64
import binascii
import hashlib
import hmac
from collections.abc import Sequence
from datetime import datetime
from typing import Final

PREFIX: Final = "whsec_"
LEAST_BYTES: Final = 24
MOST_BYTES: Final = 64


def secret_of(key: bytes) -> str:
    """A key of 24 to 64 random bytes as secrets are written. Raises ValueError."""
    if not LEAST_BYTES <= len(key) <= MOST_BYTES:
        raise ValueError(f"a secret has {LEAST_BYTES} to {MOST_BYTES} bytes, not {len(key)}")
    return PREFIX + base64.b64encode(key).decode()


def headers(secrets: Sequence[str], *, message: str, at: datetime, body: str) -> dict[str, str]:
    """The three headers of a message sent at a moment: its id, the time, and a signature by each
    secret, so that a receiver that still knows the old one takes it too.

    Raises ValueError for a message's id with a full stop, which would make the signed text
    ambiguous, and for what is no secret.
    """
    if "." in message:
        raise ValueError(f"an id holds no full stop: {message}")
    stamp = str(int(at.timestamp()))
    signed = f"{message}.{stamp}.{body}".encode()
    return {
        "webhook-id": message,
        "webhook-timestamp": stamp,
        "webhook-signature": " ".join(_signature(secret, signed) for secret in secrets),
    }


def _signature(secret: str, signed: bytes) -> str:
    try:
        key = base64.b64decode(secret.removeprefix(PREFIX), validate=True)
    except binascii.Error as error:
        raise ValueError(f"a secret is {PREFIX} and base 64") from error
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
