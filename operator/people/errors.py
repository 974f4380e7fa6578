"""What the business refuses, in words that every door can pass on."""

from collections.abc import Mapping


class Unable(Exception):
    """An action that cannot be done as things stand. Nothing was changed. Doors answer 409.

    `code` is stable and may be matched by a client; the message says what, where and what would be
    right.
    """

    code = "unable"

    def __init__(self, message: str, *, code: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.code = code or self.code


class Unacceptable(Unable):
    """Input that can never be right, whatever the state. Doors answer 422.

    `fields` gives the message for each field by name, as the action's parameters are called.
    """

    code = "unacceptable"

    def __init__(
        self, message: str, *, code: str | None = None, fields: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(message, code=code)
        self.fields = dict(fields or {})


class NotAllowed(Unable):
    """The person may see the thing and may not do this to it. Doors answer 403."""

    code = "not_allowed"


class NotFound(Unable):
    """There is no such thing, or it is not this person's to see; the two look alike.

    Doors answer 404.
    """

    code = "not_found"
