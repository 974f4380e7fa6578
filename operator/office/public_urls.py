"""The addresses of the pages behind stickers, and of those who make the stickers; into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import public, stickers

paths: list[URLPattern | URLResolver] = [
    path("at/look/", door(public.look), name="report-look"),
    path("at/<str:token>/", door(public.report), name="report-fault"),
    path("stickers/", door(stickers.listing), name="stickers"),
    path("stickers/issue/", door(stickers.issue), name="stickers-issue"),
    path("stickers/print/", door(stickers.print_out), name="stickers-print"),
]
