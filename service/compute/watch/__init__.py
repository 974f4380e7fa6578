"""What the numbers suspect: each judge takes figures and gives evidence, strength and words.

Judges of many columns at once take arrays, those of a single machine's course take sequences.
Nothing here knows of a clock: times come as figures. Chances are p-values; which of many are
raised is settled over the whole fleet (`fdr`). `causes.rank` says what is likeliest behind one.
"""

from . import cash, clock, events, fdr, lost, missing, power, sequential, silent, takings, warm
from .arrays import BadEvidence
from .cause_codes import CAUSES, Cause, CauseCode, code_of, was_true
from .causes import NO_CASES, Case, CauseCounts, LikelyCause, rank
from .facts import ColumnFacts
from .signs import signs_of
from .suspicion import Kind, Suspicion, chance_said, strength_of, strength_over, times_said

__all__ = [
    "CAUSES",
    "NO_CASES",
    "BadEvidence",
    "Case",
    "Cause",
    "CauseCode",
    "CauseCounts",
    "ColumnFacts",
    "Kind",
    "LikelyCause",
    "Suspicion",
    "cash",
    "chance_said",
    "clock",
    "code_of",
    "events",
    "fdr",
    "lost",
    "missing",
    "power",
    "rank",
    "sequential",
    "signs_of",
    "silent",
    "strength_of",
    "strength_over",
    "takings",
    "times_said",
    "warm",
    "was_true",
]
