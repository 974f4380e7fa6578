"""The machines and what a column of theirs can be set to."""

from .changeovers import Changeover, ChangeoverPlan, RemovedProduct
from .charts import ChartEntry
from .kinds import DepthProgram, Kind, Position
from .machines import Column, Machine, Placement, Selection, WaysOfPaying
from .products import Package, Product
from .setups import SetUp
from .sites import OpeningWindow, Site

__all__ = [
    "Changeover",
    "ChangeoverPlan",
    "ChartEntry",
    "Column",
    "DepthProgram",
    "Kind",
    "Machine",
    "OpeningWindow",
    "Package",
    "Placement",
    "Position",
    "Product",
    "RemovedProduct",
    "Selection",
    "SetUp",
    "Site",
    "WaysOfPaying",
]
