"""Posting a webhook message: to the open internet only, unless the service is told otherwise.

The address that a name leads to is looked at where the connection is made, after it is made and
before anything is said, so that a name which leads elsewhere the second time gains nothing.
"""

import ipaddress
import socket
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import HTTPError

TIMEOUT_S = 15
"""The specification asks for 15 to 30 s."""
KEPT_OF_ANSWER = 300


@dataclass(frozen=True)
class Answer:
    """What came back: a status, or None with the reason why nothing did. `took_ms` in any case."""

    status: int | None
    said: str
    took_ms: int

    @property
    def taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


class PrivateAddress(HTTPError):
    """The name leads into our own network, or to nowhere on the open internet."""


def refusal(url: str, *, private: bool) -> str:
    """Why an address cannot take webhooks by itself; empty when it can. Names are not looked up."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        return "that is no address"
    if parts.scheme not in ({"https", "http"} if private else {"https"}) or not host or port == 0:
        return "give an address that starts with https:// and names a server"
    if parts.username or parts.password:
        return "a name and password in an address are seen by others; the signature proves us"
    if parts.fragment:
        return "leave out what stands after #: it never reaches the server"
    if private:
        return ""
    try:
        inside = not is_open(host)
    except ValueError:  # a name
        inside = host == "localhost" or host.endswith((".localhost", ".local", ".internal"))
    return "that leads into a private network" if inside else ""


def is_open(address: str) -> bool:
    """Whether an IP address is one of the open internet. Raises ValueError for no IP address."""
    found = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is not None:
        found = found.ipv4_mapped
    return found.is_global and not found.is_multicast


def post(url: str, *, body: str, headers: Mapping[str, str], private: bool) -> Answer:
    """Post a message; redirects are not followed. What goes wrong is told in the answer."""
    began = time.monotonic()
    status: int | None = None
    with requests.Session() as session:
        session.trust_env = False  # a proxy would look up the name behind our back
        if not private:
            session.mount("https://", _OpenOnly())
            session.mount("http://", _OpenOnly())
        try:
            with session.post(
                url,
                data=body.encode(),
                headers={"content-type": "application/json", "user-agent": "Colonnade", **headers},
                timeout=TIMEOUT_S,
                allow_redirects=False,
                stream=True,
            ) as response:
                status = response.status_code
                said = response.raw.read(KEPT_OF_ANSWER, decode_content=True)
                text = said.decode("utf-8", "replace").replace("\x00", "").strip()
        except (requests.RequestException, HTTPError, OSError, ValueError) as error:
            text = _reason(error)
    return Answer(status, text, round((time.monotonic() - began) * 1000))


def _reason(error: BaseException) -> str:
    """The innermost reason in few words."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, PrivateAddress):
            return str(seen)
        inner = seen.args[0] if seen.args and isinstance(seen.args[0], BaseException) else None
        reason = getattr(inner or seen, "reason", None)
        seen = reason if isinstance(reason, BaseException) else inner
    if isinstance(error, requests.Timeout):
        return f"no answer in {TIMEOUT_S} s"
    if isinstance(error, requests.exceptions.SSLError):
        return "its certificate is not valid"
    if isinstance(error, requests.ConnectionError):
        return "no connection"
    return f"{type(error).__name__}"


def _require_open(peer: socket.socket) -> socket.socket:
    address = str(peer.getpeername()[0])
    if not is_open(address):
        peer.close()
        raise PrivateAddress(f"it leads to {address}, which is not of the open internet")
    return peer


class _HttpConnection(HTTPConnection):
    def _new_conn(self) -> socket.socket:
        return _require_open(super()._new_conn())


class _HttpsConnection(HTTPSConnection):
    def _new_conn(self) -> socket.socket:
        return _require_open(super()._new_conn())


class _HttpPool(HTTPConnectionPool):
    ConnectionCls = _HttpConnection


class _HttpsPool(HTTPSConnectionPool):
    ConnectionCls = _HttpsConnection


class _OpenOnly(HTTPAdapter):
    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        super().init_poolmanager(*args, **kwargs)
        self.poolmanager.pool_classes_by_scheme = {"http": _HttpPool, "https": _HttpsPool}
