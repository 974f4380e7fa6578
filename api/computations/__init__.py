"""The computations that can be asked for by name, with JSON in and JSON out and units in the keys.

No database, no settings, no clock: a question holds everything its answer needs. Each computation
stands in COMPUTATIONS; the command `compute` and the API read that table.
"""

from .asking import BadQuestion, Computation, Fault, faults_said
from .coins import COINS
from .demand import DEMAND
from .deposit import DEPOSIT
from .energy import ENERGY
from .fit import FIT, FitQuestion
from .helping import help_of
from .restock import RESTOCK
from .runs import RUNS
from .swap import SWAP
from .tax import TAX
from .watch import WATCH

COMPUTATIONS = {
    one.name: one for one in (FIT, DEMAND, RESTOCK, SWAP, RUNS, WATCH, COINS, DEPOSIT, ENERGY, TAX)
}

__all__ = [
    "COMPUTATIONS",
    "BadQuestion",
    "Computation",
    "Fault",
    "FitQuestion",
    "faults_said",
    "help_of",
]
