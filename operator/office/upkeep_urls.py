"""The addresses of planned maintenance, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import upkeep, upkeep_calendars, upkeep_machines, upkeep_plans

paths: list[URLPattern | URLResolver] = [
    path("upkeep/", door(upkeep.listing), name="upkeep"),
    path("upkeep/export/", door(upkeep.export), name="upkeep-export"),
    path("upkeep/turns/<int:pk>/", door(upkeep.turn), name="upkeep-turn"),
    path("upkeep/turns/<int:pk>/put-off/", door(upkeep.put_off), name="upkeep-put-off"),
    path("upkeep/turns/<int:pk>/give/", door(upkeep.give), name="upkeep-give"),
    path("upkeep/record/<int:plan>/<int:machine>/", door(upkeep.record), name="upkeep-record"),
    path("upkeep/done/<int:pk>/", door(upkeep.done), name="upkeep-done"),
    path("upkeep/done/<int:pk>/set-aside/", door(upkeep.set_aside), name="upkeep-set-aside"),
    path("upkeep/machines/<int:pk>/", door(upkeep_machines.page), name="upkeep-machine"),
    path("upkeep/machines/<int:pk>/read/", door(upkeep_machines.read), name="upkeep-reading"),
    path("upkeep/plans/", door(upkeep_plans.listing), name="upkeep-plans"),
    path("upkeep/plans/add/", door(upkeep_plans.edit), name="upkeep-plan-add"),
    path("upkeep/plans/<int:pk>/", door(upkeep_plans.page), name="upkeep-plan"),
    path("upkeep/plans/<int:pk>/change/", door(upkeep_plans.edit), name="upkeep-plan-change"),
    path("upkeep/plans/<int:pk>/own-terms/", door(upkeep_plans.own_terms), name="upkeep-own-terms"),
    path(
        "upkeep/own-terms/<int:pk>/remove/",
        door(upkeep_plans.remove_own_terms),
        name="upkeep-own-terms-remove",
    ),
    path("upkeep/reliability/", door(upkeep_machines.reliability), name="reliability"),
    path(
        "upkeep/reliability/export/",
        door(upkeep_machines.export_reliability),
        name="reliability-export",
    ),
    path("upkeep/calendars/", door(upkeep_calendars.page), name="calendars"),
    path(
        "upkeep/calendars/<int:pk>/revoke/",
        door(upkeep_calendars.revoke),
        name="calendar-revoke",
    ),
    path("calendar/<str:secret>.ics", door(upkeep_calendars.feed), name="calendar-feed"),
]
