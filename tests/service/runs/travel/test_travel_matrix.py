"""Ways from routing servers: what each is asked, what its answer becomes, and what when it fails.

The servers stand outside the service; here a small HTTP server speaks their documented JSON: the
table service of OSRM's HTTP API, Valhalla's matrix API and openrouteservice's matrix endpoint v2.
"""

import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from django.test import override_settings

from service.compute.routing.travel import Place, TravelSettings, matrix
from service.runs.travel import travel_matrix
from service.runs.travel.asking import ServerFailed
from service.runs.travel.servers import server

# Answers hold so many seconds and metres a degree of longitude between two places.
SECONDS, METRES = 1_000.5, 20_000.0
ROW = [Place(0.0, at / 10) for at in range(4)]
Reply = tuple[int, Any]


class Asked(list[dict[str, Any]]):
    """What the server was asked, in order."""

    url: str


@contextmanager
def answering(answer: Callable[[dict[str, Any]], Reply]) -> Iterator[Asked]:
    """A server on this machine that answers so."""
    asked = Asked()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self._answer(None)

        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            self._answer(json.loads(self.rfile.read(length)))

        def _answer(self, body: Any) -> None:
            question = {"path": self.path, "body": body, "key": self.headers["Authorization"]}
            asked.append(question)
            status, told = answer(question)
            sent = told if isinstance(told, bytes) else json.dumps(told).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(sent)))
            with suppress(BrokenPipeError):  # who asked may have stopped waiting
                self.end_headers()
                self.wfile.write(sent)

        def log_message(self, *args: object) -> None:
            """Nothing: what was asked is kept."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as listening:
        thread = threading.Thread(target=listening.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        asked.url = f"http://127.0.0.1:{listening.server_port}"
        try:
            yield asked
        finally:
            listening.shutdown()
            thread.join()


def ways(sources: list[float], targets: list[float], a_degree: float) -> list[list[float]]:
    return [[round(abs(a - b) * a_degree, 3) for b in targets] for a in sources]


def osrm(question: dict[str, Any]) -> Reply:
    path, _, options = question["path"].partition("?")
    east = [float(pair.split(",")[0]) for pair in path.rsplit("/", 1)[1].split(";")]
    chosen = dict(option.split("=") for option in options.split("&"))
    if len(east) > 100:
        return 400, {"code": "TooBig", "message": "Too many table coordinates"}
    sources = [east[int(at)] for at in chosen["sources"].split(";")]
    targets = [east[int(at)] for at in chosen["destinations"].split(";")]
    return 200, {
        "code": "Ok",
        "durations": ways(sources, targets, SECONDS),
        "distances": ways(sources, targets, METRES),
    }


def valhalla(question: dict[str, Any]) -> Reply:
    sources = [one["lon"] for one in question["body"]["sources"]]
    targets = [one["lon"] for one in question["body"]["targets"]]
    if len(sources) * len(targets) > 2_500:
        return 400, {"error_code": 150, "error": "Exceeded max locations"}
    times, km = ways(sources, targets, SECONDS), ways(sources, targets, METRES / 1_000)
    return 200, {
        "units": "kilometers",
        "sources_to_targets": [
            [
                {"from_index": a, "to_index": b, "time": times[a][b], "distance": km[a][b]}
                for b in range(len(targets))
            ]
            for a in range(len(sources))
        ],
    }


def openrouteservice(question: dict[str, Any]) -> Reply:
    if question["key"] != "secret":
        return 403, {"error": "Access to this API has been disallowed"}
    east = [one[0] for one in question["body"]["locations"]]
    sources = [east[at] for at in question["body"]["sources"]]
    targets = [east[at] for at in question["body"]["destinations"]]
    return 200, {
        "durations": ways(sources, targets, SECONDS),
        "distances": ways(sources, targets, METRES),
    }


KINDS = {"osrm": osrm, "valhalla": valhalla, "openrouteservice": openrouteservice}
NAMES = {"osrm": "OSRM", "valhalla": "Valhalla", "openrouteservice": "openrouteservice"}


def chosen(url: str, kind: str = "osrm", key: str = "secret") -> override_settings:
    return override_settings(
        ROUTING_SERVER_URL=url, ROUTING_SERVER_KIND=kind, ROUTING_SERVER_KEY=key
    )


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_ways_are_the_server_s_with_parking_and_what_the_depot_learned(kind: str) -> None:
    with answering(KINDS[kind]) as asked, chosen(asked.url, kind):
        found = travel_matrix(ROW, TravelSettings(parking_s=60), 1.5)
    assert found.basis == NAMES[kind]
    assert len(asked) == 1
    # 0.3 degrees: 300.15 s and 60 to park, 1.5 times; 6 km.
    assert found.seconds[0] == (0, 240, 390, 540)
    assert found.metres[0] == (0, 2_000, 4_000, 6_000)
    assert found.seconds[3][0] == 540


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_many_places_are_asked_in_parts_that_the_server_takes(kind: str) -> None:
    many = [Place(1.0, at / 100) for at in range(120)]
    with answering(KINDS[kind]) as asked, chosen(asked.url, kind):
        found = travel_matrix(many)
    assert found.basis == NAMES[kind]
    assert len(asked) == 9
    # 1.19 degrees: 1,190.6 s and 120 to park.
    assert found.seconds[0][119] == found.seconds[119][0] == 1_311
    assert found.metres[5][60] == 11_000


def test_what_is_known_is_not_asked_again() -> None:
    with answering(osrm) as asked, chosen(asked.url):
        first = travel_matrix(ROW)
        assert travel_matrix(ROW[::-1]).seconds[3][0] == first.seconds[0][3]
        assert len(asked) == 1
        # One more place: the ways to it, and the ways from it.
        more = travel_matrix([*ROW, Place(0.0, 0.5)])
        assert len(asked) == 2
        assert more.seconds[0][4] == 620
        assert more.seconds[4][0] == 620
        # Another multiplier or another time to park asks for nothing.
        assert travel_matrix(ROW, TravelSettings(parking_s=0), 2.0).seconds[0][1] == 200
        assert len(asked) == 2


def test_two_machines_at_one_site_are_no_way_apart() -> None:
    with answering(osrm) as asked, chosen(asked.url):
        found = travel_matrix([ROW[0], ROW[0], ROW[1]])
    assert found.seconds[0] == (0, 0, 220)
    assert found.seconds[2] == (220, 220, 0)


def test_a_way_that_the_server_does_not_know_is_a_great_circle_and_counted() -> None:
    def island(question: dict[str, Any]) -> Reply:
        status, told = osrm(question)
        for table in (told["durations"], told["distances"]):
            for row in table:
                row[3] = None
        return status, told

    circles = matrix(ROW)
    with answering(island) as asked, chosen(asked.url):
        found = travel_matrix(ROW)
    assert found.basis == "OSRM, but 3 ways by great circle x 1.3"
    assert found.seconds[0][3] == circles.seconds[0][3]
    assert found.metres[0][3] == circles.metres[0][3]
    assert found.seconds[3][0] == 420


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ((500, {}), "status 500"),
        ((302, {}), "status 302"),
        ((200, b"<html>"), "no JSON"),
        ((200, []), "without code"),
        ((200, {"code": "NoTable"}), "an error"),
        ((200, {"code": "Ok", "durations": [[0]], "distances": [[0]]}), "another size"),
        (
            (200, {"code": "Ok", "durations": [[0, 1, 2, "3"]] * 4, "distances": [[0] * 4] * 4}),
            "no time and no distance",
        ),
        (
            (200, {"code": "Ok", "durations": [[0, 1, 2, -3]] * 4, "distances": [[0] * 4] * 4}),
            "no time and no distance",
        ),
    ],
)
def test_a_server_that_fails_gives_way_to_great_circles_and_it_is_said(
    answer: Reply, said: str
) -> None:
    circles = matrix(ROW)
    with answering(lambda _: answer) as asked, chosen(asked.url):
        found = travel_matrix(ROW)
        assert (found.seconds, found.metres) == (circles.seconds, circles.metres)
        assert found.basis.startswith("great circle x 1.3, because OSRM failed: ")
        assert said in found.basis
        # It is left alone for a while, and the reason is still told.
        assert said in travel_matrix(ROW).basis
        assert len(asked) == 1


def test_what_was_known_is_used_when_the_server_is_gone() -> None:
    with answering(osrm) as asked, chosen(asked.url):
        known = travel_matrix(ROW)
    with chosen(asked.url):
        assert travel_matrix(ROW) == known
        new = travel_matrix([*ROW, Place(0.0, 0.9)])
    assert "because OSRM failed: cannot be reached" in new.basis


def test_a_wrong_key_is_told_without_the_key() -> None:
    with answering(openrouteservice) as asked, chosen(asked.url, "openrouteservice", "other"):
        basis = travel_matrix(ROW).basis
    assert "openrouteservice failed: answered with status 403" in basis
    assert "other" not in basis


def test_a_slow_server_is_not_waited_for() -> None:
    def slow(question: dict[str, Any]) -> Reply:
        time.sleep(0.5)
        return osrm(question)

    with answering(slow) as asked:
        began = time.monotonic()
        with pytest.raises(ServerFailed, match=r"no answer within 0\.1 s"):
            server("osrm", asked.url, timeout_s=0.1).table(ROW, ROW)
        assert time.monotonic() - began < 0.45


def test_no_server_is_asked_unless_one_is_named() -> None:
    with override_settings(ROUTING_SERVER_URL=""):
        assert travel_matrix(ROW) == matrix(ROW)
