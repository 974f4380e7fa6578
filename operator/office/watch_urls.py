"""The addresses of the watch, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import watch

paths: list[URLPattern | URLResolver] = [
    path("watch/", door(watch.listing_page), name="watch"),
    path("watch/export/", door(watch.export), name="watch-export"),
    path("watch/look/", door(watch.start_look), name="look-start"),
    path("watch/looks/<int:pk>/", door(watch.look), name="look"),
    path("watch/quality/", door(watch.quality), name="watch-quality"),
    path("watch/limits/", door(watch.limits), name="watch-limits"),
    path("watch/limits/rules/", door(watch.save_rule), name="watch-rule-save"),
    path("watch/limits/rules/<int:pk>/", door(watch.remove_rule), name="watch-rule-remove"),
    path("watch/<int:pk>/", door(watch.finding), name="finding"),
    path("watch/<int:pk>/ticket/", door(watch.to_ticket), name="finding-ticket"),
    path("watch/<int:pk>/dismiss/", door(watch.dismiss), name="finding-dismiss"),
]
