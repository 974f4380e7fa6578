"""The addresses of cash between the machine and the bank, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import bags, cash

paths: list[URLPattern | URLResolver] = [
    path("bags/", door(bags.listing), name="bags"),
    path("bags/<int:pk>/", door(bags.bag), name="bag"),
    path("bags/<int:pk>/count/", door(bags.count), name="bag-count"),
    path("bags/<int:pk>/step/", door(bags.step), name="bag-step"),
    path("bags/waiting/", door(bags.waiting), name="bags-custody"),
    path("bags/waiting/limits/", door(cash.limits), name="cash-limits"),
    path("bags/receive/", door(bags.receive), name="bags-receive"),
    path("bags/bankings/", door(cash.bankings), name="bankings"),
    path("bags/bankings/add/", door(cash.bank), name="banking-add"),
    path("bags/bankings/export/", door(cash.export_bankings), name="bankings-export"),
    path("bags/bankings/<int:pk>/", door(cash.banking), name="banking"),
    path("bags/bankings/<int:pk>/confirm/", door(cash.confirm), name="banking-confirm"),
    path("bags/bankings/<int:pk>/take-back/", door(cash.take_back), name="banking-take-back"),
    path("bags/change/", door(cash.floats), name="cash-floats"),
    path("bags/change/tubes/", door(cash.fill_tubes), name="tubes-fill"),
    path("bags/change/hosts/", door(cash.move_float), name="float-move"),
    path("bags/differences/", door(cash.over_and_short), name="cash-differences"),
    path(
        "bags/differences/export/",
        door(cash.export_over_and_short),
        name="cash-differences-export",
    ),
]
