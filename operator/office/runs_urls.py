"""The addresses of runs, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import runs, runs_change, runs_kept, runs_sheets

paths: list[URLPattern | URLResolver] = [
    path("runs/", door(runs.week), name="runs"),
    path("runs/kept/", door(runs_kept.listing), name="runs-kept"),
    path("runs/kept/assumptions/", door(runs_kept.assumptions), name="run-assumptions"),
    path("runs/kept/depots/add/", door(runs_kept.edit_depot), name="depot-add"),
    path("runs/kept/depots/<int:pk>/", door(runs_kept.edit_depot), name="depot-change"),
    path("runs/kept/vehicles/add/", door(runs_kept.edit_vehicle), name="vehicle-add"),
    path("runs/kept/vehicles/<int:pk>/", door(runs_kept.edit_vehicle), name="vehicle-change"),
    path("runs/kept/drivers/add/", door(runs_kept.edit_driver), name="run-driver-add"),
    path("runs/kept/drivers/<int:pk>/", door(runs_kept.edit_driver), name="run-driver-change"),
    path("runs/kept/agreements/add/", door(runs_kept.edit_agreement), name="agreement-add"),
    path(
        "runs/kept/agreements/<int:pk>/",
        door(runs_kept.edit_agreement),
        name="agreement-change",
    ),
    path(
        "runs/kept/agreements/<int:pk>/end/",
        door(runs_kept.remove_agreement),
        name="agreement-remove",
    ),
    path("runs/kept/days-off/", door(runs_kept.add_day_off), name="day-off-add"),
    path(
        "runs/kept/days-off/<int:pk>/remove/",
        door(runs_kept.remove_day_off),
        name="day-off-remove",
    ),
    path("runs/kept/holidays/", door(runs_kept.add_working_day), name="working-day-add"),
    path(
        "runs/kept/holidays/<int:pk>/remove/",
        door(runs_kept.remove_working_day),
        name="working-day-remove",
    ),
    path("runs/searches/<str:key>/", door(runs.searching), name="runs-searching"),
    path("runs/plans/<int:pk>/agree/", door(runs.agree), name="plan-agree"),
    path("runs/plans/<int:pk>/drop/", door(runs.drop), name="plan-drop"),
    path("runs/run/<int:pk>/", door(runs_sheets.sheet), name="run"),
    path("runs/run/<int:pk>/load/", door(runs_sheets.load), name="run-load-list"),
    path("runs/run/<int:pk>/load/make/", door(runs_sheets.make_load), name="run-make-load"),
    path("runs/run/<int:pk>/load/export/", door(runs_sheets.export_load), name="run-load-export"),
    path("runs/run/<int:pk>/export/", door(runs_sheets.export_run), name="run-export"),
    path("runs/run/<int:pk>/lock/", door(runs.lock_run), name="run-lock"),
    path("runs/stops/<int:pk>/lock/", door(runs_change.lock_stop), name="stop-lock"),
    path("runs/stops/<int:pk>/take-off/", door(runs_change.take_off), name="stop-take-off"),
    path("runs/<str:on>/", door(runs.day), name="runs-day"),
    path("runs/<str:on>/search/", door(runs.search), name="runs-search"),
    path("runs/<str:on>/move/", door(runs_change.move), name="runs-move"),
    path("runs/<str:on>/insert/", door(runs_change.insert), name="runs-insert"),
    path("runs/<str:on>/by-hand/", door(runs_change.by_hand), name="runs-by-hand"),
    path("runs/<str:on>/map/", door(runs_sheets.on_map), name="runs-map"),
    path("runs/<str:on>/export/", door(runs.export), name="runs-export"),
]
