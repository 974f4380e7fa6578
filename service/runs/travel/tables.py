"""The matrix that plans are made with: from a routing server where there is one, kept in the cache,
and by great circles where there is none or it fails."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field

import structlog
from django.conf import settings
from django.core.cache import cache

from service.compute.routing.problem import MOST_METRES, MOST_SECONDS, Matrix
from service.compute.routing.travel import Place, TravelSettings, matrix

from .asking import ServerFailed
from .servers import Server, server

log = structlog.get_logger(__name__)

KEPT_S = 30 * 86_400
# A server that failed is left alone for so long, or every plan would wait for it anew.
LEFT_ALONE_S = 60

# From one place to others: seconds and metres, or None where the server knows no way.
Ways = dict[str, tuple[float, float] | None]


def travel_matrix(
    places: Sequence[Place],
    chosen: TravelSettings | None = None,
    multiplier: float = 1.0,
) -> Matrix:
    """Driving between places, parking included, times a depot's learned multiplier.

    `basis` says where it comes from: the routing server named by the settings, or great circles,
    and then why, if there is a server.
    """
    by_circles = matrix(places, chosen, multiplier)
    if not settings.ROUTING_SERVER_URL or len(places) < 2:
        return by_circles
    asked = server(
        settings.ROUTING_SERVER_KIND, settings.ROUTING_SERVER_URL, settings.ROUTING_SERVER_KEY
    )
    return from_server(asked, settings.ROUTING_SERVER_URL, places, by_circles, chosen, multiplier)


def from_server(
    asked: Server,
    url: str,
    places: Sequence[Place],
    by_circles: Matrix,
    chosen: TravelSettings | None = None,
    multiplier: float = 1.0,
) -> Matrix:
    """The matrix by a server; the one by circles, which says so, when the server fails.

    A way that the server does not know is taken from the circles, and counted in `basis`.
    """
    try:
        known = _Known(asked, url).between(places)
    except ServerFailed as failed:
        log.warning("a routing server failed", server=asked.name, error=str(failed))
        return Matrix(
            by_circles.seconds,
            by_circles.metres,
            f"{by_circles.basis}, because {asked.name} failed: {failed}",
        )
    return _joined(asked.name, places, known, by_circles, chosen or TravelSettings(), multiplier)


def _joined(
    name: str,
    places: Sequence[Place],
    known: dict[str, Ways],
    by_circles: Matrix,
    chosen: TravelSettings,
    multiplier: float,
) -> Matrix:
    keys = [_key(place) for place in places]
    seconds: list[tuple[int, ...]] = []
    metres: list[tuple[int, ...]] = []
    unknown = 0
    for row, source in enumerate(keys):
        times, ways = [], []
        for column, target in enumerate(keys):
            way = (0.0, 0.0) if source == target else known[source][target]
            if way is None:
                unknown += 1
                times.append(by_circles.seconds[row][column])
                ways.append(by_circles.metres[row][column])
                continue
            parked_s = chosen.parking_s if source != target else 0
            times.append(min(MOST_SECONDS, round((way[0] + parked_s) * multiplier)))
            ways.append(min(MOST_METRES, round(way[1])))
        seconds.append(tuple(times))
        metres.append(tuple(ways))
    basis = name if not unknown else f"{name}, but {unknown} ways by {by_circles.basis}"
    return Matrix(tuple(seconds), tuple(metres), basis)


def _key(place: Place) -> str:
    """A place to a metre or so; nearer ones are one place to a road."""
    return f"{place.latitude:.5f},{place.longitude:.5f}"


@dataclass
class _Known:
    """What is known of the ways of one server: what the cache holds, and what is asked anew."""

    asked: Server
    url: str
    prefix: str = field(init=False)

    def __post_init__(self) -> None:
        digest = hashlib.sha256(f"{self.asked.name} {self.url}".encode()).hexdigest()[:16]
        self.prefix = f"travel:{digest}:"

    def between(self, places: Sequence[Place]) -> dict[str, Ways]:
        """Every way between these places. Raises ServerFailed when one is neither kept nor told."""
        placed = {_key(place): place for place in places}
        known: dict[str, Ways] = {key: {} for key in placed}
        for name, kept in cache.get_many([self.prefix + key for key in placed]).items():
            known[name.removeprefix(self.prefix)] = kept
        missing = {
            source: [key for key in placed if key != source and key not in known[source]]
            for source in placed
        }
        sources = [source for source in placed if missing[source]]
        if not sources:
            return known
        if reason := cache.get(self.prefix + "failed"):
            raise ServerFailed(reason)
        wanted = {key for keys in missing.values() for key in keys}
        try:
            self._ask(known, placed, sources, [key for key in placed if key in wanted])
        except ServerFailed as failed:
            cache.set(self.prefix + "failed", str(failed), LEFT_ALONE_S)
            raise
        cache.set_many({self.prefix + source: known[source] for source in sources}, KEPT_S)
        return known

    def _ask(
        self,
        known: dict[str, Ways],
        placed: dict[str, Place],
        sources: Sequence[str],
        targets: Sequence[str],
    ) -> None:
        most_sources, most_targets = self.asked.most_sources, self.asked.most_targets
        for at in range(0, len(sources), most_sources):
            from_ = sources[at : at + most_sources]
            for on in range(0, len(targets), most_targets):
                to = targets[on : on + most_targets]
                told = self.asked.table([placed[key] for key in from_], [placed[key] for key in to])
                for row, source in enumerate(from_):
                    for column, target in enumerate(to):
                        time, way = told.seconds[row][column], told.metres[row][column]
                        known[source][target] = None if time is None or way is None else (time, way)
