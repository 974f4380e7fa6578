"""What the QR code of a sticker says: the sticker's code, signed, so that a made-up one costs no
look into the database and tells nothing."""

from django.core.signing import BadSignature, Signer

SIGNED_CHARACTERS = 16
"""96 bits of the signature, so that the QR code stays coarse enough for a scratched sticker."""


class _Short(Signer):
    def signature(self, value: str | bytes, key: str | bytes | None = None) -> str:
        return super().signature(value, key)[:SIGNED_CHARACTERS]


def _signer() -> Signer:
    return _Short(sep=".", salt="service.tickets.stickers")


def token_of(code: str) -> str:
    """The code with its signature, for an address."""
    return _signer().sign(code)


def code_of(token: str) -> str | None:
    """The code of a token that we signed; None for any other."""
    try:
        return _signer().unsign(token)
    except BadSignature:
        return None
