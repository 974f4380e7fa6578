"""The addresses of version 1. Each needs a row in people/policy.py for every method it takes."""

from typing import Any

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.routers import SimpleRouter

from . import (
    business,
    changeovers,
    charts,
    description,
    events,
    fit,
    kinds,
    machines,
    orders,
    people,
    products,
    reads,
    receipts,
    road,
    runs,
    runs_keeping,
    sales,
    setups,
    sites,
    stock,
    stock_counts,
    stock_movements,
    suppliers,
    tokens,
)

app_name = "api"
router = SimpleRouter(trailing_slash=False, use_regex_path=False)
for prefix, doors, noun in (
    ("kinds", kinds.Kinds, "kind"),
    ("positions", fit.Positions, "position"),
    ("packages", products.Packages, "package"),
    ("products", products.Products, "product"),
    ("sites", sites.Sites, "site"),
    ("machines", machines.Machines, "machine"),
    ("columns", setups.Columns, "column"),
    ("set-ups", setups.SetUps, "set-up"),
    ("chart-entries", charts.ChartEntries, "chart-entry"),
    ("changeover-plans", changeovers.ChangeoverPlans, "changeover-plan"),
    ("changeovers", changeovers.Changeovers, "changeover"),
    ("fit", fit.Fits, "fit"),
    ("reads", reads.Reads, "read"),
    ("machine-intervals", sales.MachineIntervals, "machine-interval"),
    ("sale-intervals", sales.SaleIntervals, "sale-interval"),
    ("epoch-decisions", sales.EpochDecisions, "epoch-decision"),
    ("sales-totals", sales.SalesTotals, "sales-total"),
    ("events", events.Events, "event"),
    ("event-occurrences", events.EventOccurrences, "event-occurrence"),
    ("event-meanings", events.EventMeanings, "event-meaning"),
    ("stock-places", stock.StockPlaces, "stock-place"),
    ("stock-levels", stock.StockLevels, "stock-level"),
    ("dated-stock", stock.DatedStock, "dated-stock"),
    ("stock-movements", stock_movements.StockMovements, "stock-movement"),
    ("stock-counts", stock_counts.StockCounts, "stock-count"),
    ("suppliers", suppliers.Suppliers, "supplier"),
    ("supplier-items", suppliers.SupplierItems, "supplier-item"),
    ("orders", orders.Orders, "order"),
    ("receipts", receipts.Receipts, "receipt"),
    ("costs", receipts.Costs, "cost"),
    ("waste", receipts.Waste, "waste"),
    ("depots", runs_keeping.Depots, "depot"),
    ("vehicles", runs_keeping.Vehicles, "vehicle"),
    ("drivers", runs_keeping.Drivers, "driver"),
    ("days-off", runs_keeping.DaysOff, "day-off"),
    ("working-days", runs_keeping.WorkingDays, "working-day"),
    ("service-agreements", runs_keeping.Agreements, "agreement"),
    ("day-plans", runs.DayPlans, "day-plan"),
    ("planned-machines", runs.PlannedMachines, "planned-machine"),
    ("runs", runs.Runs, "run"),
    ("stops", runs.Stops, "stop"),
    ("road/runs", road.RoadRuns, "road-run"),
    ("road/stops", road.RoadStops, "road-stop"),
    ("road", road.Road, "road"),
    ("people", people.People, "person"),
    ("tokens", tokens.Tokens, "token"),
    ("audit-entries", business.AuditEntries, "audit-entry"),
):
    router.register(prefix, doors, basename=noun)

ONE: dict[str, Any] = {"get": "retrieve", "patch": "partial_update"}
urlpatterns: list[URLPattern | URLResolver] = [
    path("", include(router.urls)),
    path("me", people.Me.as_view({"get": "retrieve"}, basename="me"), name="me"),
    path(
        "business",
        business.BusinessSettings.as_view(ONE, basename="business"),
        name="business",
    ),
    path(
        "run-assumptions",
        runs_keeping.Assumptions.as_view(ONE, basename="run-assumptions"),
        name="run-assumptions",
    ),
    path("openapi.json", description.OpenApi.as_view(), name="openapi"),
    path("docs", description.Docs.as_view(), name="docs"),
]
