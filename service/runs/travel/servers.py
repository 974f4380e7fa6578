"""The routing servers that can be asked for a table of ways, each by its documented interface."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from service.compute.routing.travel import Place

from .asking import TIMEOUT_S, Rows, ServerFailed, ask, rows


@dataclass(frozen=True)
class Table:
    """Seconds and metres from each source to each target; None where the server knows no way."""

    seconds: Rows
    metres: Rows


class Server(Protocol):
    """A routing server. `most_sources` and `most_targets` are what it takes at once."""

    @property
    def name(self) -> str: ...

    @property
    def most_sources(self) -> int: ...

    @property
    def most_targets(self) -> int: ...

    def table(self, sources: Sequence[Place], targets: Sequence[Place]) -> Table:
        """The ways between these places. Raises ServerFailed."""
        ...


@dataclass(frozen=True)
class Osrm:
    """OSRM's table service; by default it takes 100 coordinates, so 50 by 50."""

    url: str
    timeout_s: float = TIMEOUT_S
    name: str = "OSRM"
    most_sources: int = 50
    most_targets: int = 50

    def table(self, sources: Sequence[Place], targets: Sequence[Place]) -> Table:
        places = [*sources, *targets]
        coordinates = ";".join(f"{place.longitude:.6f},{place.latitude:.6f}" for place in places)
        from_ = ";".join(str(at) for at in range(len(sources)))
        to = ";".join(str(at) for at in range(len(sources), len(places)))
        answer = ask(
            self.url,
            f"/table/v1/driving/{coordinates}?sources={from_}&destinations={to}"
            "&annotations=duration,distance",
            timeout_s=self.timeout_s,
        )
        if _of(answer, "code") != "Ok":
            raise ServerFailed("answered with an error")
        size = len(sources), len(targets)
        return Table(rows(_of(answer, "durations"), *size), rows(_of(answer, "distances"), *size))


@dataclass(frozen=True)
class Valhalla:
    """Valhalla's matrix service; by default it takes 2,500 pairs, so 50 by 50. Its distances are
    kilometres."""

    url: str
    timeout_s: float = TIMEOUT_S
    name: str = "Valhalla"
    most_sources: int = 50
    most_targets: int = 50

    def table(self, sources: Sequence[Place], targets: Sequence[Place]) -> Table:
        answer = ask(
            self.url,
            "/sources_to_targets",
            body={
                "sources": [{"lat": p.latitude, "lon": p.longitude} for p in sources],
                "targets": [{"lat": p.latitude, "lon": p.longitude} for p in targets],
                "costing": "auto",
                "units": "kilometers",
                "verbose": True,
            },
            timeout_s=self.timeout_s,
        )
        pairs = _of(answer, "sources_to_targets")
        if not isinstance(pairs, list) or not all(isinstance(row, list) for row in pairs):
            raise ServerFailed("answered with what is no table")
        seconds = [[_of(pair, "time") for pair in row] for row in pairs]
        km = rows(
            [[_of(pair, "distance") for pair in row] for row in pairs], len(sources), len(targets)
        )
        metres: Rows = [[None if way is None else way * 1_000 for way in row] for row in km]
        return Table(rows(seconds, len(sources), len(targets)), metres)


@dataclass(frozen=True)
class OpenRouteService:
    """openrouteservice's matrix service; it takes 2,500 pairs, so 50 by 50. A key where asked."""

    url: str
    key: str = ""
    timeout_s: float = TIMEOUT_S
    name: str = "openrouteservice"
    most_sources: int = 50
    most_targets: int = 50

    def table(self, sources: Sequence[Place], targets: Sequence[Place]) -> Table:
        places = [*sources, *targets]
        answer = ask(
            self.url,
            "/v2/matrix/driving-car",
            body={
                "locations": [[place.longitude, place.latitude] for place in places],
                "sources": list(range(len(sources))),
                "destinations": list(range(len(sources), len(places))),
                "metrics": ["duration", "distance"],
                "units": "m",
            },
            headers={"Authorization": self.key} if self.key else {},
            timeout_s=self.timeout_s,
        )
        size = len(sources), len(targets)
        return Table(rows(_of(answer, "durations"), *size), rows(_of(answer, "distances"), *size))


def _of(answer: Any, key: str) -> Any:
    if not isinstance(answer, dict) or key not in answer:
        raise ServerFailed(f"answered without {key}")
    return answer[key]


def server(kind: str, url: str, key: str = "", timeout_s: float = TIMEOUT_S) -> Server:
    """The server of a kind: osrm, valhalla or openrouteservice."""
    if kind == "openrouteservice":
        return OpenRouteService(url, key, timeout_s)
    if kind == "valhalla":
        return Valhalla(url, timeout_s)
    return Osrm(url, timeout_s)
