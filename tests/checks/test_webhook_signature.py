"""Signatures of webhooks against the reference library of the Standard Webhooks specification."""

import base64
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from standardwebhooks import Webhook, WebhookVerificationError

from service.compute.webhook_signature import headers, secret_of

NOW = datetime.now(UTC)
"""The library takes messages of the last five minutes only."""
SECRETS = st.binary(min_size=24, max_size=64).map(secret_of)


@given(SECRETS, st.text(alphabet="abc_0123456789", min_size=1), st.text(min_size=2))
def test_the_reference_library_takes_what_we_sign(secret: str, message: str, text: str) -> None:
    body = '{"type":"ticket.new","data":"' + text.encode("unicode_escape").hex() + '"}'
    signed = headers([secret], message=message, at=datetime.now(UTC), body=body)
    assert Webhook(secret).verify(body, signed)["type"] == "ticket.new"


@given(SECRETS, st.binary(min_size=24, max_size=64).map(secret_of))
def test_both_secrets_open_what_is_signed_by_both(old: str, new: str) -> None:
    body = '{"type":"ticket.late"}'
    signed = headers([new, old], message="msg_1", at=datetime.now(UTC), body=body)
    for secret in (old, new):
        assert Webhook(secret).verify(body, signed) == {"type": "ticket.late"}


def test_we_sign_as_the_reference_library_does() -> None:
    secret = secret_of(bytes(range(32)))
    body = '{"type":"ticket.closed","data":{"site":"Fährhafen"}}'
    ours = headers([secret], message="msg_7", at=NOW, body=body)
    theirs = Webhook(secret).sign("msg_7", NOW, body)
    assert ours["webhook-signature"] == theirs


@pytest.mark.parametrize("name", ["webhook-id", "webhook-timestamp", "webhook-signature"])
def test_what_was_changed_on_the_way_is_refused(name: str) -> None:
    secret, now = secret_of(bytes(range(24))), datetime.now(UTC)
    signed = headers([secret], message="msg_1", at=now, body="{}")
    Webhook(secret).verify("{}", signed)
    changed = {
        "webhook-id": "msg_2",
        "webhook-timestamp": str(int(now.timestamp()) - 1),
        "webhook-signature": "v1," + base64.b64encode(bytes(32)).decode(),
    }
    with pytest.raises(WebhookVerificationError, match="No matching signature"):
        Webhook(secret).verify("{}", signed | {name: changed[name]})


def test_another_body_is_refused() -> None:
    secret = secret_of(bytes(range(24)))
    signed = headers([secret], message="msg_1", at=datetime.now(UTC), body='{"a":1}')
    with pytest.raises(WebhookVerificationError, match="No matching signature"):
        Webhook(secret).verify('{"a":2}', signed)


@pytest.mark.parametrize("length", [0, 23, 65])
def test_a_secret_is_neither_short_nor_long(length: int) -> None:
    with pytest.raises(ValueError, match=f"24 to 64 bytes, not {length}"):
        secret_of(bytes(length))


def test_what_would_make_the_signed_text_ambiguous_is_refused() -> None:
    with pytest.raises(ValueError, match="no full stop"):
        headers([secret_of(bytes(24))], message="msg.1", at=NOW, body="{}")
    with pytest.raises(ValueError, match="base 64"):
        headers(["whsec_no secret"], message="msg_1", at=NOW, body="{}")
