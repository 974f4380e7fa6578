"""What sells how fast, and what each column needs."""

from .columns import ColumnDemand, ColumnNeed
from .days import UnusualDay
from .fits import FitChunk, FitRun
from .rules import DemandRules

__all__ = ["ColumnDemand", "ColumnNeed", "DemandRules", "FitChunk", "FitRun", "UnusualDay"]
