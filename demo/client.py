"""A client of the API with nothing but the standard library, as any driver's own tool could be."""

from __future__ import annotations

import http.client
import json
import uuid
from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import urlencode, urlsplit

API = "/api/v1/"


class Failed(Exception):
    """The service answered otherwise than a business day needs; the message says what and where."""


class Refused(Failed):
    """An answer that says no, with its stable `code`."""

    def __init__(self, message: str, code: str) -> None:
        super().__init__(message)
        self.code = code


class Client:
    """One device. Without a token it can only ask for one."""

    def __init__(self, base_url: str, token: str | None = None) -> None:
        self.base_url = base_url
        self.token = token

    @classmethod
    def signed_in(cls, base_url: str, *, email: str, password: str, device: str) -> Client:
        """A device that has signed in and carries its token from now on."""
        given = {"email": email, "password": password, "name": device}
        return cls(base_url, cls(base_url).post("tokens", given)["secret"])

    def get(self, path: str, **query: Any) -> Any:
        return self._json("GET", path + (f"?{urlencode(query)}" if query else ""))

    def pages(self, path: str, **query: Any) -> Iterator[dict[str, Any]]:
        """Every row of a list, page after page."""
        page = self.get(path, **query)
        while True:
            yield from page["items"]
            if not page["next"]:
                return
            onward = urlsplit(page["next"])
            page = self._json("GET", f"{onward.path}?{onward.query}")

    def post(self, path: str, given: Any = None, *, key: str | None = None) -> Any:
        """Send JSON. `key` names the write, so that sending it again has no second effect."""
        headers = {} if key is None else {"Idempotency-Key": f'"{key}"'}
        return self._json("POST", path, json.dumps(given or {}).encode(), headers)

    def change(self, path: str, given: Any) -> Any:
        """Change a row that is as it is now: its tag goes along, so that nobody's work is lost."""
        tag = self._answer("GET", path, None, {})[1]
        return self._json("PATCH", path, json.dumps(given).encode(), {"If-Match": tag})

    def send_files(self, path: str, files: Mapping[str, bytes]) -> Any:
        """Send files in one multipart body (RFC 7578)."""
        mark = uuid.uuid4().hex
        body = b"".join(
            b'--%b\r\nContent-Disposition: form-data; name="files"; filename="%b"\r\n'
            b"Content-Type: application/octet-stream\r\n\r\n%b\r\n"
            % (mark.encode(), name.encode(), data)
            for name, data in files.items()
        )
        form = {"Content-Type": f"multipart/form-data; boundary={mark}"}
        return self._json("POST", path, body + b"--%b--\r\n" % mark.encode(), form)

    def _json(
        self, method: str, path: str, body: bytes | None = None, headers: Mapping[str, str] = {}
    ) -> Any:
        return self._answer(method, path, body, headers)[0]

    def _answer(
        self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]
    ) -> tuple[Any, str]:
        """The answer and its tag, where it has one."""
        status, said, tag = self._send(method, path, body, headers)
        answer = json.loads(said) if said else None
        if status >= http.client.BAD_REQUEST:
            why = f"{method} {path} answered {status}: {json.dumps(answer, indent=2)}"
            code = answer.get("code", "") if isinstance(answer, dict) else ""
            raise Refused(why, code)
        return answer, tag

    def _send(
        self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]
    ) -> tuple[int, bytes, str]:
        sent = {"Accept": "application/json", "Content-Type": "application/json", **headers}
        if self.token is not None:
            sent["Authorization"] = f"Bearer {self.token}"
        connection = http.client.HTTPConnection(urlsplit(self.base_url).netloc, timeout=60)
        try:
            connection.request(method, path if path[0] == "/" else API + path, body, sent)
            answer = connection.getresponse()
            return answer.status, answer.read(), answer.getheader("ETag") or ""
        finally:
            connection.close()
