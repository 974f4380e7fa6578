"""`Idempotency-Key`: a write that is sent twice takes effect once and is answered alike.

After draft-ietf-httpapi-idempotency-key-header (a draft of the IETF, not a standard). A key belongs
to one person, method and path, and lives for a day. The row that remembers the answer is written in
the transaction of the write itself. A refused write changed nothing and is not remembered: sent
again, it is tried again.
"""

import hashlib
import re
from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import connection
from django.http import HttpResponse
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from .errors import Refused
from .models import IdempotencyKey

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
LIVES = timedelta(hours=24)
KEPT_HEADERS = ("ETag", "Location")
# A structured-field string (RFC 9651, section 3.3.3) or the same characters bare.
QUOTED = re.compile(r'"((?:[\x20-\x21\x23-\x5b\x5d-\x7e]|\\["\\])*)"')
BARE = re.compile(r"[\x21\x23-\x5b\x5d-\x7e]+")
LONGEST = 200


def once(
    request: Request, *, required: bool, now: datetime, write: Callable[[], Response]
) -> Response | HttpResponse:
    """Do `write` unless it was done under the request's key already; then give its answer again.

    Called inside the transaction of the write. Raises Refused: 400 for a missing or malformed key,
    409 while the first is still running, 422 when the key was used for another body.
    """
    key = _key(request, required=required)
    if key is None:
        return write()
    method, path = request.method or "", request.get_full_path()[:300]
    if not _alone(f"{request.user.pk} {method} {path} {key}"):
        raise Refused(
            409,
            "the first request with this key is still running; try again in a moment",
            code="still_running",
            headers={"Retry-After": "1"},
        )
    scope = {"person": request.user, "method": method, "path": path, "key": key}
    fingerprint = _fingerprint(request)
    stored = IdempotencyKey.objects.filter(**scope).first()
    if stored is not None and stored.expires_at <= now:
        stored.delete()
        stored = None
    if stored is not None:
        if stored.fingerprint != fingerprint:
            raise Refused(
                422,
                "this key was used for another body; a new request takes a new key",
                code="key_reused",
                errors=[{"header": HEADER, "detail": "used for another body", "code": "reused"}],
            )
        return _again(stored)
    response = write()
    body = b"" if response.data is None else JSONRenderer().render(response.data)
    IdempotencyKey.objects.create(
        **scope,
        fingerprint=fingerprint,
        status=response.status_code,
        headers={name: response[name] for name in KEPT_HEADERS if name in response},
        body=body,
        created_at=now,
        expires_at=now + LIVES,
    )
    return response


def key_of(request: Request) -> str:
    """The request's key, for a door whose action remembers keys itself. Raises Refused: 400."""
    return _key(request, required=True) or ""


def purge(*, now: datetime) -> int:
    """Forget the keys that have expired; how many."""
    return IdempotencyKey.objects.filter(expires_at__lte=now).delete()[0]


def _key(request: Request, *, required: bool) -> str | None:
    given = request.headers.get(HEADER)
    if given is None:
        if required:
            raise _bad("required", f"send {HEADER} with a value of your own, new for each write")
        return None
    quoted = QUOTED.fullmatch(given.strip())
    key = re.sub(r"\\(.)", r"\1", quoted[1]) if quoted else given.strip()
    if not key or len(key) > LONGEST or not (quoted or BARE.fullmatch(key)):
        raise _bad(
            "malformed",
            f"{HEADER}: give 1 to {LONGEST} printable ASCII characters, in double quotes if there "
            "is a space among them",
        )
    return key


def _bad(code: str, said: str) -> Refused:
    return Refused(
        400,
        said,
        code=f"key_{code}",
        errors=[{"header": HEADER, "detail": said, "code": code}],
    )


def _alone(scope: str) -> bool:
    # The lock ends with the transaction, after the row is committed, so the next one sees the row.
    number = int.from_bytes(hashlib.sha256(scope.encode()).digest()[:8], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        return bool(cursor.fetchone()[0])


def _fingerprint(request: Request) -> str:
    # The whole path is in here too, since the row's own column may cut a long one short.
    head = f"{request.get_full_path()}\0{request.content_type or ''}\0"
    return hashlib.sha256(head.encode() + request._request.body).hexdigest()


def _again(stored: IdempotencyKey) -> HttpResponse:
    response = HttpResponse(
        bytes(stored.body),
        status=stored.status,
        headers={**stored.headers, REPLAYED: "true"},
    )
    if stored.body:
        response["Content-Type"] = "application/json"
    else:
        del response["Content-Type"]
    return response
