"""What sales tax is reckoned by: rules, jurisdictions, rates, where sites lie, settings."""

from typing import Any

from django_filters import FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Id, Text, Word
from people.models import Person
from service.compliance.actions import tax_rules
from service.compliance.models import (
    Jurisdiction,
    Rate,
    RateFile,
    SiteJurisdiction,
    TaxRule,
    TaxSettings,
)
from service.compliance.queries.tax_gates import (
    jurisdiction_for,
    rate_file_for,
    rate_for,
    rule_for,
    settings_for,
    site_jurisdiction_for,
)

from . import tax_shapes as shapes


class TaxRuleFilter(FilterSet):
    state = Text()
    key = Text()
    replaced = Flag("replaced_by", lookup_expr="isnull", exclude=True)
    removed = Flag("removed_at", lookup_expr="isnull", exclude=True)


class TaxRules(Doors):
    """Rules of tax, those in force and those that were. An edit is another rule. No tax advice."""

    described_by = TaxRule
    filterset_class = TaxRuleFilter

    @gives(shapes.TaxRuleOut, paged=True, summary="List rules of tax")
    def list(self, request: Request) -> Response:
        return self.page(TaxRule.objects.order_by("state", "key", "pk"), shapes.TaxRuleOut)

    @gives(shapes.TaxRuleOut, tagged=True, summary="Look at a rule of tax")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.TaxRuleOut, rule_for(self.person, pk))

    @writes(
        shapes.TaxRuleIn,
        shapes.TaxRuleOut,
        status=201,
        tagged=True,
        summary="Enter a rule of tax",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = tax_rules.save_rule(actor=self.person, now=self.now, **given)
        return self.created(shapes.TaxRuleOut, rule_for(self.person, saved.pk))

    @writes(
        shapes.TaxRuleIn,
        shapes.TaxRuleOut,
        status=201,
        tagged=True,
        summary="Put another rule in the place of one, which stays to be read",
    )
    @action(detail=True, methods=["post"])
    def replace(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        old = rule_for(self.person, pk, write=True)
        saved = tax_rules.save_rule(old=old, actor=self.person, now=self.now, **given)
        return self.created(shapes.TaxRuleOut, rule_for(self.person, saved.pk))

    @writes(shapes.WhyIn, shapes.TaxRuleOut, tagged=True, summary="Take a rule out of force")
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        old = rule_for(self.person, pk, write=True)
        tax_rules.remove_rule(rule=old, actor=self.person, now=self.now, **given)
        return self.answer(shapes.TaxRuleOut, rule_for(self.person, pk))

    @writes(
        shapes.PacksIn, shapes.RulesTakenIn, summary="Take in packs of rules, of all states or some"
    )
    @action(detail=False, methods=["post"])
    def packs(self, request: Request, given: dict[str, Any]) -> Response:
        new = tax_rules.load_packs(actor=self.person, now=self.now, **given)
        return self.answer(shapes.RulesTakenIn, {"keys": [one.key for one in new]})


class JurisdictionFilter(FilterSet):
    state = Text()
    kind = Word(of=Jurisdiction.Kind)
    search = Text("name", lookup_expr="icontains")


class Jurisdictions(Doors):
    """States, counties, cities and districts that may tax."""

    described_by = Jurisdiction
    filterset_class = JurisdictionFilter

    @gives(shapes.JurisdictionOut, paged=True, summary="List jurisdictions")
    def list(self, request: Request) -> Response:
        return self.page(Jurisdiction.objects.order_by("code", "pk"), shapes.JurisdictionOut)

    @gives(shapes.JurisdictionOut, tagged=True, summary="Look at a jurisdiction")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.JurisdictionOut, jurisdiction_for(self.person, pk))

    @writes(
        shapes.JurisdictionIn,
        shapes.JurisdictionOut,
        status=201,
        tagged=True,
        summary="Enter a jurisdiction",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = tax_rules.save_jurisdiction(changes=given, actor=self.person, now=self.now)
        return self.created(shapes.JurisdictionOut, jurisdiction_for(self.person, saved.pk))

    @writes(
        shapes.JurisdictionIn,
        shapes.JurisdictionOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a jurisdiction",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(jurisdiction_for, pk, shapes.JurisdictionOut)
        tax_rules.save_jurisdiction(
            jurisdiction=row, changes=given, actor=self.person, now=self.now
        )
        return self.answer(shapes.JurisdictionOut, jurisdiction_for(self.person, pk))


class RateFilter(FilterSet):
    jurisdiction = Id()
    state = Text("jurisdiction__state")


class Rates(Doors):
    """Rates of jurisdictions, from a day to before another."""

    described_by = Rate
    filterset_class = RateFilter

    @gives(shapes.RateOut, paged=True, summary="List rates")
    def list(self, request: Request) -> Response:
        return self.page(
            Rate.objects.order_by("jurisdiction_id", "begins_on", "pk"), shapes.RateOut
        )

    @gives(shapes.RateOut, tagged=True, summary="Look at a rate")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.RateOut, rate_for(self.person, pk))

    @writes(
        shapes.RateIn,
        shapes.RateOut,
        status=201,
        tagged=True,
        summary="Enter a rate; one without an end ends where it begins",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        place = given.pop("jurisdiction")
        saved = tax_rules.save_rate(
            jurisdiction=place, changes=given, actor=self.person, now=self.now
        )
        return self.created(shapes.RateOut, rate_for(self.person, saved.pk))

    @writes(
        shapes.RateIn,
        shapes.RateOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a rate; what was filed stays as it was filed",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(rate_for, pk, shapes.RateOut)
        place = given.pop("jurisdiction", row.jurisdiction)
        changes = {**given, "jurisdiction": place}
        tax_rules.save_rate(
            jurisdiction=place, rate=row, changes=changes, actor=self.person, now=self.now
        )
        return self.answer(shapes.RateOut, rate_for(self.person, pk))


class SiteJurisdictionFilter(FilterSet):
    site = Id()
    jurisdiction = Id()


class SiteJurisdictions(Doors):
    """In which counties, cities and districts a site lies."""

    described_by = SiteJurisdiction
    filterset_class = SiteJurisdictionFilter

    @gives(shapes.SiteJurisdictionOut, paged=True, summary="List where sites lie")
    def list(self, request: Request) -> Response:
        return self.page(SiteJurisdiction.objects.order_by("pk"), shapes.SiteJurisdictionOut)

    @gives(shapes.SiteJurisdictionOut, tagged=True, summary="Look at where a site lies")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.SiteJurisdictionOut, site_jurisdiction_for(self.person, pk))

    @writes(
        shapes.SiteJurisdictionIn,
        shapes.SiteJurisdictionOut,
        status=201,
        tagged=True,
        summary="Say that a site lies in a jurisdiction",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = tax_rules.place_site(actor=self.person, now=self.now, **given)
        return self.created(
            shapes.SiteJurisdictionOut, site_jurisdiction_for(self.person, saved.pk)
        )

    @writes(
        shapes.SiteJurisdictionIn,
        shapes.SiteJurisdictionOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change from when to when a site lies in a jurisdiction",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(site_jurisdiction_for, pk, shapes.SiteJurisdictionOut)
        held = {
            "site": row.site,
            "jurisdiction": row.jurisdiction,
            "begins_on": row.begins_on,
            "ends_on": row.ends_on,
        }
        tax_rules.place_site(row=row, actor=self.person, now=self.now, **(held | given))
        return self.answer(shapes.SiteJurisdictionOut, site_jurisdiction_for(self.person, pk))


class RateFiles(Doors):
    """Files of rates as states publish them, kept for good."""

    described_by = RateFile

    @gives(shapes.RateFileOut, paged=True, summary="List rate files, the latest first")
    def list(self, request: Request) -> Response:
        return self.page(RateFile.objects.defer("raw").order_by("-pk"), shapes.RateFileOut)

    @gives(shapes.RateFileOut, tagged=True, summary="Look at a rate file")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.RateFileOut, rate_file_for(self.person, pk))

    @writes(
        shapes.RateFileIn,
        shapes.RateFileOut,
        status=201,
        tagged=True,
        summary="Take in a rate file, whole or not at all",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        loaded = tax_rules.load_rate_file(
            name=given["name"], raw=given["text"].encode(), actor=self.person, now=self.now
        )
        return self.created(shapes.RateFileOut, rate_file_for(self.person, loaded.file.pk))


class TaxSettingsDoors(Doors):
    """When receipts fall and how tax is rounded. One row."""

    described_by = TaxSettings

    @gives(shapes.TaxSettingsOut, tagged=True, summary="Look at how the tax is reckoned")
    def retrieve(self, request: Request) -> Response:
        return self.answer(shapes.TaxSettingsOut, settings_for(self.person))

    @writes(
        shapes.TaxSettingsIn,
        shapes.TaxSettingsOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change how the tax is reckoned",
    )
    def partial_update(self, request: Request, given: dict[str, Any]) -> Response:
        self.matched(_settings, 1, shapes.TaxSettingsOut)
        tax_rules.save_settings(changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.TaxSettingsOut, settings_for(self.person))


def _settings(person: Person, _: int, *, write: bool) -> TaxSettings:
    return settings_for(person, write=write)
