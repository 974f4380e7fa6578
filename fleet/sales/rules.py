"""Rules that several actions share."""

from people.errors import Unacceptable


def require_reason(reason: str) -> None:
    """Refuse a decision without its reason. Raises Unacceptable."""
    if not reason.strip():
        message = "say why, for whoever asks later"
        raise Unacceptable(message, fields={"reason": message})
    if len(reason) > 300:
        message = f"300 characters at most; these are {len(reason)}"
        raise Unacceptable(message, fields={"reason": message})
