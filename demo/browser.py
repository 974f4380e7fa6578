"""A browser with nothing but the standard library: pages, forms and cookies."""

from __future__ import annotations

import html
import re
from http.cookiejar import CookieJar
from urllib.error import HTTPError
from urllib.parse import urlencode, urljoin
from urllib.request import HTTPCookieProcessor, Request, build_opener

from demo.client import Failed

_TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
_RADIO = re.compile(r'<label[^>]*>\s*<input type="radio" name="(\w+)" value="(\w*)"[^>]*>([^<]*)')
_TAGS = re.compile(r"<(script|style).*?</\1>|<[^>]*>", re.DOTALL)


class Browser:
    """Keeps its cookies; `address` is where the last page was, after all redirects."""

    def __init__(self, base_url: str) -> None:
        self.base_url = self.address = base_url
        self.page = ""
        self._opener = build_opener(HTTPCookieProcessor(CookieJar()))

    def sign_in(self, email: str, password: str) -> None:
        """As somebody of the business. Raises Failed."""
        self.open("/sign-in/")
        self.send(username=email, password=password)
        if "sign-in" in self.address:
            raise Failed(f"{email} could not sign in: {self.said()[:300]}")

    def open(self, path: str) -> str:
        """The page at a path or whole address. Raises Failed unless it is there."""
        return self._go(Request(urljoin(self.base_url, path)))  # noqa: S310 - our own address

    def send(self, **fields: str) -> str:
        """Send the form of the page that is open to that page's own address. Raises Failed."""
        token = _TOKEN.search(self.page)
        given = {**fields, **({"csrfmiddlewaretoken": token[1]} if token else {})}
        request = Request(self.address, data=urlencode(given).encode())  # noqa: S310 - as above
        request.add_header("Referer", self.address)
        return self._go(request)

    def choices(self, name: str) -> dict[str, str]:
        """What can be chosen under a name on this page: the value, by the words beside it."""
        found = _RADIO.findall(self.page)
        return {html.unescape(said).strip(): value for of, value, said in found if of == name}

    def said(self) -> str:
        """The words of the page."""
        return " ".join(html.unescape(_TAGS.sub(" ", self.page)).split())

    def _go(self, request: Request) -> str:
        try:
            with self._opener.open(request, timeout=60) as answer:
                self.address, self.page = answer.url, answer.read().decode()
        except HTTPError as error:
            self.page = error.read().decode()
            raise Failed(
                f"{request.full_url} answered {error.code}: {self.said()[:600]}"
            ) from error
        return self.page
