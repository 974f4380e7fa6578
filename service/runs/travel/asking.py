"""One question in JSON to a server outside, with a limit on how long and how much it may answer."""

import json
import math
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from typing import Any
from urllib.parse import urlsplit

TIMEOUT_S = 10.0
MOST_BYTES = 20_000_000


class ServerFailed(Exception):
    """A routing server did not answer as it should. The message says how, for people to read."""


def ask(
    url: str,
    path: str,
    *,
    body: Any = None,
    headers: dict[str, str] | None = None,
    timeout_s: float = TIMEOUT_S,
) -> Any:
    """The JSON answered to a GET, or to a POST when there is a body. Raises ServerFailed."""
    parts = urlsplit(url)
    kind = HTTPSConnection if parts.scheme == "https" else HTTPConnection
    connection = kind(parts.hostname or "", parts.port, timeout=timeout_s)
    sent = {"Accept": "application/json", **(headers or {})}
    try:
        if body is None:
            connection.request("GET", parts.path.rstrip("/") + path, headers=sent)
        else:
            sent["Content-Type"] = "application/json"
            connection.request(
                "POST", parts.path.rstrip("/") + path, body=json.dumps(body), headers=sent
            )
        response = connection.getresponse()
        answer = response.read(MOST_BYTES + 1)
    except TimeoutError as error:
        raise ServerFailed(f"no answer within {timeout_s:g} s") from error
    except (OSError, HTTPException) as error:
        raise ServerFailed(f"cannot be reached ({type(error).__name__})") from error
    finally:
        connection.close()
    if response.status != 200:
        raise ServerFailed(f"answered with status {response.status}")
    if len(answer) > MOST_BYTES:
        raise ServerFailed("answered more than is read")
    try:
        return json.loads(answer)
    except ValueError as error:
        raise ServerFailed("answered what is no JSON") from error


Rows = list[list[float | None]]


def rows(answer: Any, sources: int, targets: int) -> Rows:
    """A table of numbers, None where there is no way. Raises ServerFailed when it is none."""
    if not isinstance(answer, list) or len(answer) != sources:
        raise ServerFailed("answered with a table of another size")
    for row in answer:
        if not isinstance(row, list) or len(row) != targets:
            raise ServerFailed("answered with a table of another size")
        if not all(value is None or _is_length(value) for value in row):
            raise ServerFailed("answered with what is no time and no distance")
    return answer


def _is_length(value: Any) -> bool:
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
        and value >= 0
    )
