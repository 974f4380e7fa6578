"""Who may do what with runs and on the road: rows of the one table in policy.py."""

from .who import DESK, READS, ROAD, Row

KEPT = ("depot", "vehicle", "driver", "agreement")

TABLE: tuple[Row, ...] = (
    Row(
        "see plans, runs and what they stand on through the API",
        READS,
        (
            *(f"GET api:{noun}-{door}" for noun in KEPT for door in ("list", "detail")),
            "GET api:day-off-list",
            "GET api:day-off-detail",
            "GET api:working-day-list",
            "GET api:working-day-detail",
            "GET api:run-assumptions",
            "GET api:day-plan-list",
            "GET api:day-plan-detail",
            "GET api:planned-machine-list",
        ),
    ),
    Row(
        "keep depots, vehicles, drivers, days off and agreements through the API",
        DESK,
        (
            *(f"POST api:{noun}-list" for noun in KEPT),
            *(f"PATCH api:{noun}-detail" for noun in KEPT),
            "DELETE api:agreement-detail",
            "POST api:day-off-list",
            "DELETE api:day-off-detail",
            "POST api:working-day-list",
            "DELETE api:working-day-detail",
            "PATCH api:run-assumptions",
        ),
    ),
    Row(
        "plan days, agree, lock and change runs through the API",
        DESK,
        (
            "POST api:day-plan-list",
            "POST api:day-plan-week",
            "POST api:day-plan-agree",
            "POST api:day-plan-drop",
            "POST api:run-list",
            "POST api:run-lock",
            "POST api:run-unlock",
            "POST api:run-replan",
            "POST api:run-preview-insert",
            "POST api:run-insert",
            "POST api:run-make-load",
            "POST api:stop-preview-move",
            "POST api:stop-move",
            "POST api:stop-take-off",
            "POST api:stop-lock",
            "POST api:stop-unlock",
        ),
    ),
    # A driver finds the own runs only; the gatekeepers see to that.
    Row(
        "see runs, stops and load lists through the API",
        ROAD,
        (
            "GET api:run-list",
            "GET api:run-detail",
            "GET api:run-load",
            "GET api:run-geojson",
            "GET api:stop-list",
            "GET api:stop-detail",
        ),
    ),
    Row(
        "see the board of runs",
        READS,
        (
            "GET office:runs",
            "GET office:runs-day",
            "GET office:runs-map",
            "GET office:runs-export",
            "GET office:runs-kept",
        ),
    ),
    Row(
        "keep what runs stand on",
        DESK,
        (
            *(
                f"{method} office:{noun}-{verb}"
                for noun in ("depot", "vehicle", "run-driver", "agreement")
                for verb in ("add", "change")
                for method in ("GET", "POST")
            ),
            "POST office:agreement-remove",
            "GET office:run-assumptions",
            "POST office:run-assumptions",
            "POST office:day-off-add",
            "POST office:day-off-remove",
            "POST office:working-day-add",
            "POST office:working-day-remove",
        ),
    ),
    Row(
        "plan days and change runs",
        DESK,
        (
            "POST office:runs-search",
            "GET office:runs-searching",
            "POST office:plan-agree",
            "POST office:plan-drop",
            "POST office:run-lock",
            "POST office:run-make-load",
            "POST office:stop-lock",
            "GET office:stop-take-off",
            "POST office:stop-take-off",
            "GET office:runs-move",
            "POST office:runs-move",
            "GET office:runs-insert",
            "POST office:runs-insert",
            "GET office:runs-by-hand",
            "POST office:runs-by-hand",
        ),
    ),
    Row(
        "see run sheets and load lists",
        ROAD,
        (
            "GET office:run",
            "GET office:run-load-list",
            "GET office:run-load-export",
            "GET office:run-export",
        ),
    ),
    Row(
        "drive a day through the API",
        ROAD,
        (
            "GET api:road-day",
            "POST api:road-batch",
            "GET api:road-run-detail",
            "POST api:road-run-pick",
            "POST api:road-run-start",
            "POST api:road-run-end",
            "POST api:road-stop-arrive",
            "POST api:road-stop-read",
            "POST api:road-stop-count",
            "POST api:road-stop-remove",
            "POST api:road-stop-fill",
            "POST api:road-stop-change-over",
            "POST api:road-stop-bag",
            "POST api:road-stop-leave",
            "POST api:road-stop-skip",
        ),
    ),
)
