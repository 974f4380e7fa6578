"""The addresses of earnings, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import earnings

paths: list[URLPattern | URLResolver] = [
    path("earnings/", door(earnings.ranking), name="earnings"),
    path("earnings/export/", door(earnings.export), name="earnings-export"),
    path("earnings/settings/", door(earnings.settings), name="earnings-settings"),
    path("earnings/changes/<int:pk>/", door(earnings.changes), name="earnings-changes"),
    path("earnings/<str:by>/<int:pk>/", door(earnings.page), name="earnings-of"),
]
