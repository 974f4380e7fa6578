"""The addresses of duties, temperatures of food, dates and recalls, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import compliance_duties, compliance_food, compliance_goods

paths: list[URLPattern | URLResolver] = [
    path("compliance/duties/", door(compliance_duties.listing), name="duties"),
    path("compliance/duties/export/", door(compliance_duties.export), name="duties-export"),
    path("compliance/duties/record/", door(compliance_duties.record), name="duties-record"),
    path("compliance/duties/add/", door(compliance_duties.edit), name="duty-add"),
    path("compliance/duties/<int:pk>/", door(compliance_duties.page), name="duty"),
    path("compliance/duties/<int:pk>/change/", door(compliance_duties.edit), name="duty-change"),
    path("compliance/duties/<int:pk>/record/", door(compliance_duties.seen), name="duty-record"),
    path("compliance/duties/<int:pk>/drop/", door(compliance_duties.drop), name="duty-drop"),
    path(
        "compliance/duties/done/<int:pk>/set-aside/",
        door(compliance_duties.set_aside),
        name="duty-set-aside",
    ),
    path("compliance/duties/rules/", door(compliance_duties.rules), name="duty-rules"),
    path("compliance/duties/rules/packs/", door(compliance_duties.load_packs), name="duty-packs"),
    path("compliance/duties/rules/add/", door(compliance_duties.edit_rule), name="duty-rule-add"),
    path(
        "compliance/duties/rules/<int:pk>/",
        door(compliance_duties.edit_rule),
        name="duty-rule-change",
    ),
    path("compliance/evidence/<int:pk>/", door(compliance_duties.evidence), name="evidence"),
    path("compliance/temperatures/", door(compliance_food.listing), name="temperatures"),
    path(
        "compliance/temperatures/limits/add/",
        door(compliance_food.edit_limits),
        name="temperature-limits-add",
    ),
    path(
        "compliance/temperatures/limits/<int:pk>/",
        door(compliance_food.edit_limits),
        name="temperature-limits-change",
    ),
    path(
        "compliance/temperatures/limits/<int:pk>/remove/",
        door(compliance_food.remove_limits),
        name="temperature-limits-remove",
    ),
    path(
        "compliance/temperatures/<int:pk>/", door(compliance_food.page), name="temperatures-machine"
    ),
    path(
        "compliance/temperatures/<int:pk>/read/",
        door(compliance_food.read),
        name="temperature-read",
    ),
    path("compliance/temperatures/<int:pk>/fail/", door(compliance_food.fail), name="food-failure"),
    path(
        "compliance/temperatures/<int:pk>/lift/", door(compliance_food.lift), name="food-lock-lift"
    ),
    path("compliance/dates/", door(compliance_goods.dates), name="dates"),
    path("compliance/dates/export/", door(compliance_goods.export_dates), name="dates-export"),
    path("compliance/recalls/", door(compliance_goods.recalls), name="recalls"),
    path("compliance/recalls/add/", door(compliance_goods.edit_recall), name="recall-add"),
    path("compliance/recalls/<int:pk>/", door(compliance_goods.recall), name="recall"),
    path(
        "compliance/recalls/<int:pk>/change/",
        door(compliance_goods.edit_recall),
        name="recall-change",
    ),
    path("compliance/recalls/<int:pk>/send/", door(compliance_goods.send), name="recall-send"),
    path(
        "compliance/recalls/<int:pk>/take-out/",
        door(compliance_goods.take_out),
        name="recall-take-out",
    ),
    path("compliance/recalls/<int:pk>/close/", door(compliance_goods.close), name="recall-close"),
    path(
        "compliance/recalls/<int:pk>/export/",
        door(compliance_goods.export_recall),
        name="recall-export",
    ),
]
