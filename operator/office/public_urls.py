"""The addresses of what reaches people: stickers and the pages behind them, notices, promises and
webhooks; spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import notices, promises, public, stickers, webhooks

paths: list[URLPattern | URLResolver] = [
    path("at/look/", door(public.look), name="report-look"),
    path("at/<str:token>/", door(public.report), name="report-fault"),
    path("stickers/", door(stickers.listing), name="stickers"),
    path("stickers/issue/", door(stickers.issue), name="stickers-issue"),
    path("stickers/print/", door(stickers.print_out), name="stickers-print"),
    path("notices/seen/", door(notices.see_all), name="notices-seen"),
    path("notices/<int:pk>/seen/", door(notices.see), name="notice-seen"),
    path("promises/", door(promises.page), name="promises"),
    path("promises/add/", door(promises.add_rule), name="promise-add"),
    path("promises/<int:pk>/", door(promises.rule), name="promise"),
    path("promises/<int:pk>/remove/", door(promises.remove_rule), name="promise-remove"),
    path("promises/hours/", door(promises.set_hours), name="promise-hours"),
    path("promises/days/", door(promises.close_day), name="closed-day-add"),
    path("promises/days/<int:pk>/remove/", door(promises.open_day), name="closed-day-remove"),
    path("webhooks/", door(webhooks.listing), name="webhooks"),
    path("webhooks/<int:pk>/", door(webhooks.page), name="webhook"),
    path("webhooks/<int:pk>/secret/", door(webhooks.renew_secret), name="webhook-secret"),
    path("webhooks/sent/<int:pk>/", door(webhooks.delivery), name="webhook-delivery"),
    path("webhooks/sent/<int:pk>/again/", door(webhooks.send_again), name="webhook-send-again"),
]
