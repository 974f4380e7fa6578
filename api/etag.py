"""Strong entity tags (RFC 9110, section 8.8.3) and the conditions made with them.

The tag is a digest of the representation itself, so two equal tags mean equal bytes. RFC 6585,
section 3 has 428 for an edit that names no state it starts from.
"""

import hashlib
import re
from typing import Any

from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from .errors import Refused

TAG = re.compile(r'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')


def of(data: Any) -> str:
    """The tag of a representation, in its quotes."""
    return f'"{hashlib.sha256(JSONRenderer().render(data)).hexdigest()[:32]}"'


def has_not_changed(request: Request, tag: str) -> bool:
    """Whether `If-None-Match` names this state (weak comparison, as for any GET)."""
    given = request.headers.get("If-None-Match")
    if given is None:
        return False
    return given.strip() == "*" or any(f'"{m[2]}"' == tag for m in TAG.finditer(given))


def require_match(request: Request, data: Any) -> None:
    """Refuse an edit that does not start from this state: 428 without a tag, 412 when stale."""
    given = request.headers.get("If-Match")
    if given is None:
        raise Refused(
            428,
            "send the ETag that you last saw in If-Match, so that no change of another is lost",
            errors=[{"header": "If-Match", "detail": "missing", "code": "required"}],
        )
    tag = of(data)
    if given.strip() != "*" and not any(
        m[1] is None and f'"{m[2]}"' == tag for m in TAG.finditer(given)
    ):
        raise Refused(
            412,
            "this was changed since you read it; read it again and repeat the edit",
            headers={"ETag": tag},
        )
