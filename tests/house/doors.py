"""Every door of the service, found by walking its addresses."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.converters import IntConverter, PathConverter, UUIDConverter
from django.views.generic.edit import ProcessFormView

NOT_DOORS = {"HEAD", "OPTIONS", "TRACE", "CONNECT"}
"""HEAD counts as GET; no view of ours takes the others, which the walk over answers proves."""

WRITES = ("POST", "PUT", "PATCH", "DELETE")


@dataclass(frozen=True)
class Door:
    """One method of one address. `path` is filled in with ids that no row has."""

    method: str
    route: str
    path: str

    def __str__(self) -> str:
        return f"{self.method} {self.route}"


@dataclass(frozen=True)
class Route:
    """One address. `methods` is None for a plain function, which does not tell what it takes."""

    name: str
    path: str
    methods: frozenset[str] | None
    view: Any = None
    """The class behind it, where it is one."""


def routes() -> list[Route]:
    """All addresses. Raises AssertionError for one without a name, which no row could govern."""
    return list(_below(get_resolver(), prefix="/", namespaces=()))


def _below(resolver: URLResolver, prefix: str, namespaces: tuple[str, ...]) -> Iterator[Route]:
    for entry in resolver.url_patterns:
        path = prefix + _filled(entry)
        if isinstance(entry, URLResolver):
            inner = (*namespaces, entry.namespace) if entry.namespace else namespaces
            yield from _below(entry, path, inner)
        else:
            assert isinstance(entry, URLPattern)
            assert entry.name, f"{path} has no name, so no row of the policy can govern it"
            yield Route(
                ":".join((*namespaces, entry.name)),
                path,
                _methods(entry.callback),
                _class(entry.callback),
            )


def _class(view: Any) -> Any:
    return getattr(view, "cls", None) or getattr(view, "view_class", None)


def _methods(view: Any) -> frozenset[str] | None:
    if actions := getattr(view, "actions", None):  # a REST framework viewset
        found = set(actions)
    elif (cls := getattr(view, "cls", None) or getattr(view, "view_class", None)) is not None:
        # Django's own form views take PUT as another POST; nothing sends it, so it stays shut.
        found = {
            name
            for name in cls.http_method_names
            if hasattr(cls, name) and getattr(cls, name) is not ProcessFormView.put
        }
    else:
        return None
    return frozenset(name.upper() for name in found) - NOT_DOORS


def _filled(entry: URLPattern | URLResolver) -> str:
    """The pattern's own piece of the path, with values that match and belong to no row."""
    pattern: Any = entry.pattern
    piece = str(pattern)
    for name, converter in pattern.converters.items():
        start = piece.index("<")
        end = piece.index(">", start)
        assert name in piece[start:end]
        piece = piece[:start] + _value(converter) + piece[end + 1 :]
    assert "<" not in piece, f"{piece} is no pattern that the walk can fill in"
    return piece.lstrip("/")


def _value(converter: Any) -> str:
    if isinstance(converter, IntConverter):
        return "987654321"
    if isinstance(converter, UUIDConverter):
        return "00000000-0000-4000-8000-000000000000"
    if isinstance(converter, PathConverter):
        return "no/such/thing"
    return "no-such-thing"
