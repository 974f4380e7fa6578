"""The addresses of calorie signs, access and energy, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import measured

paths: list[URLPattern | URLResolver] = [
    path("compliance/labels/", door(measured.labels), name="compliance-labels"),
    path("compliance/labels/keep/", door(measured.keep_labels), name="compliance-labels-keep"),
    path("compliance/labels/signs/", door(measured.signs_page), name="compliance-signs"),
    path("compliance/labels/signs.pdf", door(measured.signs_file), name="compliance-signs-file"),
    path("compliance/access/", door(measured.access), name="compliance-access"),
    path(
        "compliance/access/machines/<int:pk>/",
        door(measured.access_machine),
        name="compliance-access-machine",
    ),
    path(
        "compliance/access/machines/<int:pk>/measure/",
        door(measured.measure_access),
        name="compliance-access-measure",
    ),
    path(
        "compliance/access/checks/<int:pk>/set-aside/",
        door(measured.drop_access),
        name="compliance-access-set-aside",
    ),
    path("compliance/energy/", door(measured.energy), name="compliance-energy"),
    path(
        "compliance/energy/machines/<int:pk>/",
        door(measured.energy_machine),
        name="compliance-energy-machine",
    ),
    path(
        "compliance/energy/machines/<int:pk>/measure/",
        door(measured.measure_energy),
        name="compliance-energy-measure",
    ),
    path(
        "compliance/energy/readings/<int:pk>/set-aside/",
        door(measured.drop_energy),
        name="compliance-energy-set-aside",
    ),
]
