"""The watch: what the numbers say is wrong, how it was found, and whether it was so."""

from .findings import Finding, Verdict
from .limits import WatchLimits, WatchRule
from .looks import Look, LookPart

__all__ = ["Finding", "Look", "LookPart", "Verdict", "WatchLimits", "WatchRule"]
