"""Rows of money that generated requests are aimed at."""

from datetime import date
from typing import Any

from django.utils import timezone

from fleet.machines.models import Machine
from fleet.sales.actions import agreements, cards, terminals
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Jurisdiction, TaxRule
from service.compliance.statements import run_statements
from service.compliance.sums.gathering import Period


def agreed(machine: Machine, owner: Person) -> dict[str, int]:
    """An agreement with a host, a statement issued by it, and a settlement of cards."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    row = agreements.save_agreement(
        agreement=None,
        changes={
            "site": machine.placements.get().site,
            "starts_on": date(2026, 1, 1),
            "rhythm": "monthly",
            "terms": {"minimum": "5"},
        },
        **given,
    )
    (made,) = run_statements(rhythm="monthly", day=date(2026, 1, 5), **given)
    mapping = cards.save_mapping(
        mapping=None,
        changes={
            "name": "ours",
            "date_column": "Day",
            "amount_column": "Gross",
            "terminal_column": "Terminal",
        },
        **given,
    )
    raw = b"Day,Terminal,Gross\n2026-01-04,T1,30\n"
    file = cards.take_in(name="week.csv", raw=raw, mapping=mapping, **given)
    hung = terminals.hang_terminal(code="T1", machine=machine, starts_on=date(2026, 1, 1), **given)
    return {
        "settlement-mappings": mapping.pk,
        "settlements": file.pk,
        "card-terminals": hung.pk,
        "mapping": mapping.pk,
        "file": file.pk,
        "commission-agreements": row.pk,
        "statements": made.pk,
        "agreement": row.pk,
    }


def taxed(machine: Machine, owner: Person) -> dict[str, int]:
    """A state with a county, rates, a rule, a file of rates, and a return that was filed."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    site = machine.placements.get().site
    site.state = "GA"
    site.save()
    tax_rules.load_packs(states=["GA"], **given)
    raw = b"13,45,13,0.04,0.04,0,0,20200101,29991231\n13,00,00007,0.03,0.03,0,0,20200101,29991231\n"
    loaded = tax_rules.load_rate_file(name="GAR", raw=raw, **given)
    county = Jurisdiction.objects.get(kind="county")
    lies = tax_rules.place_site(site=site, jurisdiction=county, **given)
    duty = tax_rules.save_duty(changes={"state": "GA", "first_period": date(2026, 1, 1)}, **given)
    period = Period(date(2026, 1, 1), date(2026, 4, 1))
    return {
        "filings": filing.file_period(state="GA", period=period, **given).pk,
        "filing-duties": duty.pk,
        "tax-rules": TaxRule.objects.order_by("pk")[0].pk,
        "jurisdictions": county.pk,
        "rates": county.rates.get().pk,
        "site-jurisdictions": lies.pk,
        "rate-files": loaded.file.pk,
        "jurisdiction": county.pk,
    }
