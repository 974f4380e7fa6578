"""Compliance: what rules demand of the business, its sites, machines and food, and what is called
back."""

from .duties import Duty, DutyDone, DutyRule
from .evidence import Evidence
from .labels import LabelSettings
from .measured import AccessCheck, AccessMeasure, EnergyReading
from .places import Jurisdiction, Rate, RateFile, SiteJurisdiction
from .recalls import Recall, RecallRemoval, RecallVisit
from .tax import Filing, FilingDuty, TaxRule, TaxSettings
from .temperatures import FoodLock, TemperatureLimits

__all__ = [
    "AccessCheck",
    "AccessMeasure",
    "Duty",
    "DutyDone",
    "DutyRule",
    "EnergyReading",
    "Evidence",
    "Filing",
    "FilingDuty",
    "FoodLock",
    "Jurisdiction",
    "LabelSettings",
    "Rate",
    "RateFile",
    "Recall",
    "RecallRemoval",
    "RecallVisit",
    "SiteJurisdiction",
    "TaxRule",
    "TaxSettings",
    "TemperatureLimits",
]
