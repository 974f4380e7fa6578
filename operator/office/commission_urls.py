"""The addresses of commission and of settlements, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import commission, settlements, terminals

paths: list[URLPattern | URLResolver] = [
    path("commission/", door(commission.listing), name="commission"),
    path("commission/agreements/add/", door(commission.add), name="commission-agreement-add"),
    path(
        "commission/agreements/<int:pk>/", door(commission.agreement), name="commission-agreement"
    ),
    path(
        "commission/agreements/<int:pk>/preview/",
        door(commission.preview),
        name="statement-preview",
    ),
    path("commission/agreements/<int:pk>/issue/", door(commission.issue), name="statement-issue"),
    path("commission/run/", door(commission.run), name="statements-run"),
    path("commission/<int:pk>/", door(commission.statement), name="statement"),
    path("commission/<int:pk>/paper/", door(commission.paper), name="statement-paper"),
    path("commission/export/", door(commission.export), name="statements-export"),
    path("commission/<int:pk>/export/", door(commission.statement_export), name="statement-export"),
    path("commission/<int:pk>/correct/", door(commission.correct), name="statement-correct"),
    path("commission/<int:pk>/pay/", door(commission.pay), name="statement-pay"),
    path("commission/<int:pk>/mail/", door(commission.mail), name="statement-mail"),
    path("settlements/", door(settlements.listing), name="settlements"),
    path("settlements/take-in/", door(settlements.take_in), name="settlements-take-in"),
    path("settlements/columns/", door(settlements.columns), name="settlements-columns"),
    path("settlements/columns/<int:pk>/", door(settlements.mapping), name="settlements-mapping"),
    path("settlements/machines/<int:pk>/", door(settlements.machine), name="settlements-machine"),
    path("settlements/export/", door(settlements.export), name="settlements-export"),
    path("settlements/terminals/", door(settlements.terminal), name="card-terminal"),
    path("settlements/terminals/all/", door(terminals.listing), name="card-terminals"),
    path("settlements/terminals/<int:pk>/", door(terminals.entry), name="card-terminal-entry"),
    path("settlements/terminals/<int:pk>/end/", door(terminals.end), name="card-terminal-end"),
    path(
        "settlements/terminals/<int:pk>/correct/",
        door(terminals.correct),
        name="card-terminal-correct",
    ),
    path(
        "settlements/terminals/<int:pk>/withdraw/",
        door(terminals.withdraw),
        name="card-terminal-withdraw",
    ),
]
