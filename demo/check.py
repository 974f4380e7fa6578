"""A business day driven through the API: what `sh demo/run --check` does once the service is up."""

import http.client
import json
from urllib.parse import urlsplit


class Failed(Exception):
    """The service answered otherwise than a business day needs; the message says what and where."""


def main(base_url: str) -> int:
    """Drive the day at `base_url`, print what was seen, and return the exit code."""
    try:
        print(f"The service is well: {ready(base_url)}")
    except Failed as failed:
        print(f"The check failed: {failed}")
        return 1
    return 0


def ready(base_url: str) -> str:
    """What /readyz says of the database, the migrations and the broker."""
    connection = http.client.HTTPConnection(urlsplit(base_url).netloc, timeout=30)
    try:
        connection.request("GET", "/readyz")
        answer = connection.getresponse()
        body = json.loads(answer.read())
    finally:
        connection.close()
    if answer.status != http.HTTPStatus.OK:
        raise Failed(f"GET /readyz answered {answer.status}: {body}")
    return ", ".join(f"{part} {state}" for part, state in body.items() if part != "status")
