"""How an attachment is handed to a browser: as what it is, and as nothing that could act."""

from typing import Protocol
from urllib.parse import quote


class Kept(Protocol):
    """A file that is kept: what it is called, what it is, how many bytes it has."""

    name: str
    media_type: str
    size: int


def headers_of(attachment: Kept) -> dict[str, str]:
    """What an answer that carries the file says of it.

    No browser guesses another type (nosniff), runs anything in it (the sandbox of CSP), or keeps
    it for whoever comes next. A picture may be looked at, all else is saved. The name is told as
    RFC 6266 and RFC 8187 say.
    """
    shown = attachment.media_type.startswith("image/")
    plain = "".join(one if one.isascii() and one.isalnum() else "_" for one in attachment.name)
    way = "inline" if shown else "attachment"
    return {
        "Content-Disposition": (
            f"{way}; filename=\"{plain}\"; filename*=UTF-8''{quote(attachment.name, safe='')}"
        ),
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cache-Control": "private, no-store",
        "Content-Length": str(attachment.size),
    }
