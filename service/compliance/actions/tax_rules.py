"""Rules of tax, jurisdictions, rates and settings: entered, loaded, replaced; never lost."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from django.db import transaction

from fleet.machines.models import Site
from people import audit
from people.errors import Unable, Unacceptable
from people.models import Business, Person
from people.rows import put
from service.compute.tax.rates import BadRateFile, RateRow, read_rates
from service.compute.tax.rules import BadRule, Rule, Shape, plain, rule_from
from service.compute.tax.split import percent

from ..models import (
    FilingDuty,
    Jurisdiction,
    Rate,
    RateFile,
    SiteJurisdiction,
    TaxRule,
    TaxSettings,
)
from ..packs import packs
from . import decals

LARGEST_FILE: Final = 20 * 1024 * 1024
MOST_SHOWN: Final = 20


class RuleTaken(Unable):
    code = "rule_taken"


@transaction.atomic
def load_packs(*, states: Sequence[str] = (), actor: Person, now: datetime) -> list[TaxRule]:
    """Take in the packs of these states, or all. A key that is there already, edited or removed,
    stays as the business has it. Returns the rules that are new."""
    known = set(TaxRule.objects.values_list("key", flat=True))
    wanted = {state.upper() for state in states}
    unknown = wanted - {rule.state for rule in packs()}
    if unknown:
        message = f"no pack of {', '.join(sorted(unknown))}; enter rules of your own"
        raise Unacceptable(message, fields={"states": message})
    new = [
        rule for rule in packs() if rule.key not in known and (not wanted or rule.state in wanted)
    ]
    rows = [_write(rule, TaxRule.Origin.PACK, "taken in from the pack", actor, now) for rule in new]
    _settle_decals(new, actor, now)
    return rows


@transaction.atomic
def save_rule(
    *, data: Mapping[str, Any], why: str, actor: Person, now: datetime, old: TaxRule | None = None
) -> TaxRule:
    """Enter a rule, or another in the place of `old`, which stays to be read.

    Raises Unacceptable by field for what is no rule, RuleTaken where the key is another rule's or
    `old` was replaced meanwhile.
    """
    try:
        rule = rule_from(data)
    except BadRule as error:
        raise Unacceptable(str(error), fields=error.faults) from error
    if not why.strip():
        message = "say why, so that whoever checks a return can follow"
        raise Unacceptable(message, fields={"why": message})
    if old is not None:
        old = TaxRule.objects.select_for_update().get(pk=old.pk)
        if old.replaced_by_id or old.removed_at:
            raise RuleTaken(f"{old.key} was replaced or removed meanwhile", code="replaced")
    taken = TaxRule.objects.filter(key=rule.key, replaced_by__isnull=True, removed_at__isnull=True)
    if old is not None:
        taken = taken.exclude(pk=old.pk)
    if taken.exists():
        raise RuleTaken(f"{rule.key} is another rule's key; change that, or take another key")
    if old is None:
        entered = _write(rule, TaxRule.Origin.OWN, why.strip(), actor, now)
        _settle_decals([rule], actor, now)
        return entered
    # The old one gives up its key before the new one takes it.
    put(old, {"removed_at": now}, actor=actor, verb="replace tax rule", now=now, reason=why)
    new = _write(rule, TaxRule.Origin.OWN, why.strip(), actor, now)
    TaxRule.objects.filter(pk=old.pk).update(replaced_by=new, removed_at=None, updated_at=now)
    _settle_decals([old.rule, rule], actor, now)
    return new


@transaction.atomic
def remove_rule(*, rule: TaxRule, why: str, actor: Person, now: datetime) -> TaxRule:
    """Take a rule out of force; its sales are unclassified then, unless another is for them."""
    if not why.strip():
        message = "say why, so that whoever checks a return can follow"
        raise Unacceptable(message, fields={"why": message})
    row = TaxRule.objects.select_for_update().get(pk=rule.pk)
    if row.replaced_by_id or row.removed_at:
        raise RuleTaken(f"{row.key} was replaced or removed meanwhile", code="replaced")
    gone = put(row, {"removed_at": now}, actor=actor, verb="remove tax rule", now=now, reason=why)
    _settle_decals([row.rule], actor, now)
    return gone


def _settle_decals(touched: Sequence[Rule], actor: Person, now: datetime) -> None:
    """Duties follow where rules that go by decals came or went."""
    states = {rule.state for rule in touched if rule.shape is Shape.DECAL}
    if states:
        decals.settle(states=states, actor=actor, now=now)


def _write(rule: Rule, origin: str, why: str, actor: Person, now: datetime) -> TaxRule:
    return put(
        TaxRule(by=actor, at=now, origin=origin),
        {"key": rule.key, "state": rule.state, "data": plain(rule), "why": why},
        actor=actor,
        verb="enter tax rule",
        now=now,
    )


def save_jurisdiction(
    *,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    jurisdiction: Jurisdiction | None = None,
) -> Jurisdiction:
    """Enter or change a jurisdiction. Raises Unacceptable by field, Unable."""
    row = jurisdiction or Jurisdiction()
    return put(row, changes, actor=actor, verb="save jurisdiction", now=now)


def place_site(
    *,
    site: Site,
    jurisdiction: Jurisdiction,
    actor: Person,
    now: datetime,
    begins_on: date | None = None,
    ends_on: date | None = None,
    row: SiteJurisdiction | None = None,
) -> SiteJurisdiction:
    """Say that a site lies in a county, city or district, and from when to when."""
    if jurisdiction.kind == Jurisdiction.Kind.STATE:
        message = "a site's state is its own; name a county, city or district"
        raise Unacceptable(message, fields={"jurisdiction": message})
    if jurisdiction.state != site.state.upper():
        message = f"{jurisdiction} is of {jurisdiction.state}; {site} is in {site.state or 'none'}"
        raise Unacceptable(message, fields={"jurisdiction": message})
    return put(
        row or SiteJurisdiction(site=site, jurisdiction=jurisdiction),
        {"begins_on": begins_on, "ends_on": ends_on},
        actor=actor,
        verb="place site in jurisdiction",
        now=now,
    )


@transaction.atomic
def save_rate(
    *,
    jurisdiction: Jurisdiction,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    rate: Rate | None = None,
) -> Rate:
    """Enter a rate, or change one. A rate without an end that begins before the new one ends where
    the new one begins. Raises Unacceptable by field, Unable where two rates would hold at once."""
    if rate is None and changes.get("begins_on"):
        open_one = (
            Rate.objects.select_for_update()
            .filter(
                jurisdiction=jurisdiction,
                ends_on__isnull=True,
                begins_on__lt=changes["begins_on"],
            )
            .first()
        )
        if open_one is not None:
            put(
                open_one,
                {"ends_on": changes["begins_on"]},
                actor=actor,
                verb="end rate",
                now=now,
            )
    row = rate or Rate(jurisdiction=jurisdiction)
    return put(row, changes, actor=actor, verb="save rate", now=now)


@dataclass(frozen=True)
class Loaded:
    """What came of a rate file."""

    file: RateFile
    new: int
    ended: int
    kept: int
    jurisdictions: int


@transaction.atomic
def load_rate_file(*, name: str, raw: bytes, actor: Person, now: datetime) -> Loaded:
    """Take in a file of rates as a state publishes it, whole or not at all.

    Jurisdictions it names and nobody entered are entered under their codes. A rate that stands
    already stays; one without an end is ended where the file's next one begins. Raises
    Unacceptable with every bad line, Unable for a file that was loaded before or a rate that
    contradicts one that stands.
    """
    rows = _readable(raw)
    digest = hashlib.sha256(raw).hexdigest()
    before = RateFile.objects.filter(sha256=digest).first()
    if before is not None:
        raise Unable(
            f"this file was loaded on {Business.the().day_of(before.loaded_at)} as {before.name}",
            code="loaded_before",
        )
    file = RateFile(
        name=name.strip()[:200] or "rates",
        raw=raw,
        sha256=digest,
        rates=len(rows),
        loaded_at=now,
        loaded_by=actor,
    )
    file.save(force_insert=True)
    audit.record(
        actor=actor,
        verb="load rate file",
        row=file,
        now=now,
        after={"name": file.name, "sha256": digest, "rates": len(rows)},
    )
    places = {one.code: one for one in Jurisdiction.objects.all()}
    of_state = {one.state: one for one in places.values() if one.kind == "state"}
    entered = new = ended = kept = 0
    for row in sorted(rows, key=lambda one: (one.code, one.begins)):
        place = of_state.get(row.state) if row.kind == "state" else places.get(row.code)
        if place is None:
            place = save_jurisdiction(
                changes={
                    "code": row.state if row.kind == "state" else row.code,
                    "name": row.state if row.kind == "state" else row.code,
                    "kind": row.kind,
                    "state": row.state,
                },
                actor=actor,
                now=now,
            )
            places[row.code] = place
            if row.kind == "state":
                of_state[row.state] = place
            entered += 1
        found = Rate.objects.filter(jurisdiction=place, begins_on=row.begins).first()
        if found is not None:
            _must_agree(found, row)
            if found.ends_on is None and row.ends is not None:
                put(found, {"ends_on": row.ends}, actor=actor, verb="end rate", now=now)
                ended += 1
            else:
                kept += 1
            continue
        save_rate(
            jurisdiction=place,
            changes={
                "general": row.general,
                "food": row.food,
                "begins_on": row.begins,
                "ends_on": row.ends,
                "source": Rate.Source.FILE,
                "file": file,
                "citation": file.name,
            },
            actor=actor,
            now=now,
        )
        new += 1
    return Loaded(file, new, ended, kept, entered)


def _readable(raw: bytes) -> tuple[RateRow, ...]:
    if len(raw) > LARGEST_FILE:
        message = f"has {len(raw):,} bytes; at most {LARGEST_FILE:,}"
        raise Unacceptable(message, fields={"file": message})
    try:
        return read_rates(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        message = "is no text in UTF-8"
        raise Unacceptable(message, fields={"file": message}) from error
    except BadRateFile as error:
        shown = [f"line {one.number}: {one.said}" for one in error.lines[:MOST_SHOWN]]
        raise Unacceptable(str(error), fields={"file": "; ".join(shown)}) from error


def _must_agree(found: Rate, row: RateRow) -> None:
    other_end = found.ends_on is not None and row.ends is not None and found.ends_on != row.ends
    food = found.general if found.food is None else found.food
    if found.general != row.general or food != row.food or other_end:
        raise Unable(
            f"{found} ({percent(food)} for food) stands; the file has {percent(row.general)} "
            f"({percent(row.food)} for food) from {row.begins}"
            f"{f' to {row.ends}' if row.ends else ''}. End or correct the rate first",
            code="rate_contradicts",
        )


def save_settings(*, changes: Mapping[str, Any], actor: Person, now: datetime) -> TaxSettings:
    """Change how the business reckons; what was filed stays as it was filed."""
    return put(TaxSettings.the(), changes, actor=actor, verb="change tax settings", now=now)


def save_duty(
    *, changes: Mapping[str, Any], actor: Person, now: datetime, duty: FilingDuty | None = None
) -> FilingDuty:
    """Enter or change how often a state wants a return."""
    return put(duty or FilingDuty(), changes, actor=actor, verb="save filing duty", now=now)
