"""Who may look at what of the sales tax, and change it."""

from typing import Final, TypeVar

from django.db.models import Model, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import (
    Filing,
    FilingDuty,
    Jurisdiction,
    Rate,
    RateFile,
    SiteJurisdiction,
    TaxRule,
    TaxSettings,
)

Found = TypeVar("Found", bound=Model)
READERS: Final = (Role.OWNER, Role.ACCOUNTANT)
KEEPERS: Final = READERS


def _one(person: Person, rows: "QuerySet[Found]", pk: int, words: str, *, write: bool) -> Found:
    row = rows.filter(pk=pk).first() if person.has_role(*READERS) else None
    if row is None:
        raise NotFound(f"there is no {words} {pk}")
    if write and not person.has_role(*KEEPERS):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row


def filing_for(person: Person, pk: int, *, write: bool = False) -> Filing:
    """A return, without its frozen inputs. Raises NotFound."""
    rows = Filing.objects.defer("inputs").select_related("filed_by", "amends", "amended_by")
    return _one(person, rows, pk, "return", write=write)


def rule_for(person: Person, pk: int, *, write: bool = False) -> TaxRule:
    """A rule, in force or replaced. Raises NotFound."""
    return _one(
        person, TaxRule.objects.select_related("by", "replaced_by"), pk, "rule of tax", write=write
    )


def jurisdiction_for(person: Person, pk: int, *, write: bool = False) -> Jurisdiction:
    """A jurisdiction. Raises NotFound."""
    return _one(person, Jurisdiction.objects.all(), pk, "jurisdiction", write=write)


def rate_for(person: Person, pk: int, *, write: bool = False) -> Rate:
    """A rate. Raises NotFound."""
    return _one(
        person, Rate.objects.select_related("jurisdiction", "file"), pk, "rate", write=write
    )


def rate_file_for(person: Person, pk: int, *, write: bool = False) -> RateFile:
    """A file of rates, without its bytes. Raises NotFound."""
    return _one(person, RateFile.objects.defer("raw"), pk, "rate file", write=write)


def site_jurisdiction_for(person: Person, pk: int, *, write: bool = False) -> SiteJurisdiction:
    """Where a site lies. Raises NotFound."""
    rows = SiteJurisdiction.objects.select_related("site", "jurisdiction")
    return _one(person, rows, pk, "place of a site", write=write)


def duty_for(person: Person, pk: int, *, write: bool = False) -> FilingDuty:
    """How often a state wants a return. Raises NotFound."""
    return _one(person, FilingDuty.objects.all(), pk, "filing duty", write=write)


def settings_for(person: Person, *, write: bool = False) -> TaxSettings:
    """How the business reckons. Raises NotFound."""
    return _one(person, TaxSettings.objects.all(), TaxSettings.the().pk, "setting", write=write)
