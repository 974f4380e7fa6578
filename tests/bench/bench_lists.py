"""Lists of the API beside a bare list of the same table by the same framework.

Run by name: `pytest tests/bench/bench_lists.py -s`. What is asserted is the ratio of the 95th
percentiles, since machines differ. The bare list has no sign-in, policy, throttle, currency or
present placement: it is the least that the framework can do.
"""

import statistics
from collections.abc import Callable
from datetime import timedelta
from time import perf_counter
from typing import Any

import pytest
from django.db import models
from django.test import Client
from django.urls import path
from rest_framework import generics, serializers
from rest_framework.pagination import LimitOffsetPagination

from config import urls as all_urls
from fleet.machines.models import Column, Machine, Package, Placement, Product, SetUp
from tests.callers import V1, Caller
from tests.cast import NOW
from tests.world import World

ROWS = 3000
TIMES = 60
LIMIT = 100
MOST = 3.0
BARE: dict[str, type[models.Model]] = {
    "packages": Package,
    "products": Product,
    "machines": Machine,
    "set-ups": SetUp,
}


def bare(model: type[models.Model]) -> Callable[..., Any]:
    class Shape(serializers.ModelSerializer):
        class Meta:
            fields = "__all__"

    Shape.Meta.model = model  # type: ignore[attr-defined]

    class Pages(LimitOffsetPagination):
        default_limit = LIMIT

        def get_count(self, _queryset: Any) -> int:
            return ROWS  # our pages count nothing either

    class Bare(generics.ListAPIView):
        queryset = model._default_manager.order_by("pk")
        serializer_class = Shape
        pagination_class = Pages
        authentication_classes = permission_classes = throttle_classes = ()

    return Bare.as_view()


@pytest.fixture
def addresses(settings: Any) -> None:
    class Addresses:
        urlpatterns = [
            *(
                path(f"bare/{name}", bare(model), name=f"bare-{name}")
                for name, model in BARE.items()
            ),
            *all_urls.urlpatterns,
        ]

    settings.ROOT_URLCONF = Addresses
    # The bare views have no row in the policy, which the middleware would rightly refuse.
    settings.MIDDLEWARE = [m for m in settings.MIDDLEWARE if m != "people.doors.PolicyMiddleware"]
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["person"] = "100000/min"


@pytest.fixture
def many(world: World) -> None:
    """So many rows in each of the tables, written at once."""
    kind, site = world.kind(), world.site()
    Package.objects.bulk_create(
        Package(name=f"can {n:05}", shape="can", length_mm=122, diameter_mm=66) for n in range(ROWS)
    )
    package = Package.objects.order_by("pk")[0]
    Product.objects.bulk_create(
        Product(name=f"Cola {n:05}", package=package, price=2) for n in range(ROWS)
    )
    product = Product.objects.order_by("pk")[0]
    machines = Machine.objects.bulk_create(
        Machine(asset_tag=f"M-{n:05}", kind=kind) for n in range(ROWS)
    )
    since = NOW - timedelta(days=30)
    Placement.objects.bulk_create(
        Placement(machine=one, site=site, starts_at=since) for one in machines
    )
    position = kind.positions.order_by("pk")[0]
    columns = Column.objects.bulk_create(Column(machine=one, position=position) for one in machines)
    SetUp.objects.bulk_create(
        SetUp(
            column=one,
            product=product,
            deep=2,
            price=2,
            capacity=20,
            source="found",
            starts_at=since,
        )
        for one in columns
    )


def p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]


def took(work: Callable[[], Any]) -> float:
    start = perf_counter()
    assert work().status_code == 200
    return (perf_counter() - start) * 1000


@pytest.mark.bench
@pytest.mark.django_db
def test_lists_beside_bare_ones(
    many: None, addresses: None, as_owner: Caller, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = Client()
    ratios = {}
    for name in BARE:
        ours: list[float] = []
        theirs: list[float] = []
        for _ in range(TIMES):  # in turn, so that both meet the same weather
            theirs.append(took(lambda name=name: plain.get(f"/bare/{name}?limit={LIMIT}")))
            ours.append(took(lambda name=name: as_owner.get(f"/{name}?limit={LIMIT}")))
        ratios[name] = p95(ours) / p95(theirs)
        with capsys.disabled():
            print(
                f"\n{V1}/{name}: p95 {p95(ours):.1f} ms, bare {p95(theirs):.1f} ms,"
                f" ratio {ratios[name]:.2f} (medians {statistics.median(ours):.1f},"
                f" {statistics.median(theirs):.1f})"
            )
    assert all(ratio <= MOST for ratio in ratios.values()), ratios
