"""Sales tax: reports of any period, returns that were filed, and what has come to light since."""

from typing import Any

from django_filters import DateFilter, FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import Exporting, exports
from api.filters import Text
from people.exports import Table
from service.compliance import tax_tables
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing, FilingDuty
from service.compliance.queries.filing import filings, recomputed, since_filed
from service.compliance.queries.tax import tax_of_machines, tax_report
from service.compliance.queries.tax_gates import duty_for, filing_for
from service.compliance.sums.gathering import Period
from service.compute.tax.report import figures
from service.compute.tax.rules import ADVICE

from . import tax_shapes as shapes


def _period(asked: dict[str, Any]) -> Period:
    return Period(asked["starts_on"], asked["ends_on"])


class TaxReports(Exporting, Doors):
    """The report of a period, made anew whenever it is asked for. No tax advice."""

    described_by = Filing

    @gives(
        shapes.TaxReportOut, query=shapes.PeriodQuery, summary="Report the sales tax of a period"
    )
    def retrieve(self, request: Request, asked: dict[str, Any]) -> Response:
        made = tax_report(_period(asked), state=asked["state"], basis=asked["basis"])
        told = {
            "state": asked["state"],
            "starts_on": asked["starts_on"],
            "ends_on": asked["ends_on"],
            "basis": made.gathered.basis,
            "digest": filing.digest_of(made),
            "figures": figures(made.report) | {"said": list(made.report.said)},
            "undecided_number": made.gathered.undecided.number,
            "undecided": made.gathered.undecided.named,
            "advice": ADVICE,
        }
        return self.answer(shapes.TaxReportOut, told)

    @exports("The sales tax of a period as a file, a row a line", query=shapes.PeriodQuery)
    def export(self, request: Request, asked: dict[str, Any]) -> Table:
        made = tax_report(_period(asked), state=asked["state"], basis=asked["basis"])
        title = tax_tables.report_title(asked["state"], _period(asked))
        return tax_tables.report_table(figures(made.report), title)


class TaxMachinesQuery(shapes.PeriodQuery):
    state = None


class TaxMachines(Doors):
    """Each machine's part of the tax of a period."""

    described_by = Filing

    @gives(
        shapes.MachineTaxOut,
        many=True,
        query=TaxMachinesQuery,
        summary="Report each machine's part of the sales tax of a period",
    )
    def list(self, request: Request, asked: dict[str, Any]) -> Response:
        parts = tax_of_machines(_period(asked), basis=asked["basis"])
        rows = [
            {
                "machine": machine,
                "receipts": f"{part.receipts:f}",
                "tax": f"{part.tax:f}",
                "deposit": f"{part.deposit:f}",
                "unclassified": f"{part.unclassified:f}",
            }
            for machine, part in sorted(parts.items())
        ]
        return Response(rows)


class FilingFilter(FilterSet):
    state = Text()
    starts_from = DateFilter("starts_on", lookup_expr="gte")
    starts_until = DateFilter("starts_on", lookup_expr="lte")


class Filings(Exporting, Doors):
    """Returns as they were filed: never changed, amended by others."""

    described_by = Filing
    filterset_class = FilingFilter

    @gives(shapes.FilingBriefOut, paged=True, summary="List returns, the latest period first")
    def list(self, request: Request) -> Response:
        return self.page(filings().order_by("-starts_on", "-pk"), shapes.FilingBriefOut)

    @gives(shapes.FilingOut, tagged=True, summary="Look at a return")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.FilingOut, filing_for(self.person, pk))

    @writes(
        shapes.FilingIn,
        shapes.FilingOut,
        status=201,
        tagged=True,
        summary="File the return of a period that is over, as it was seen",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        period = Period(given.pop("starts_on"), given.pop("ends_on"))
        filed = filing.file_period(period=period, actor=self.person, now=self.now, **given)
        return self.created(shapes.FilingOut, filing_for(self.person, filed.pk))

    @exports("A return as a file, a row a line, as it was filed", of_one=True)
    def export(self, request: Request, pk: int) -> Table:
        found = filing_for(self.person, pk)
        return tax_tables.report_table(found.figures, tax_tables.filing_title(found))

    @gives(shapes.FilingChangesOut, summary="Ask what has come to light since a return was filed")
    @action(detail=True, methods=["get"])
    def changes(self, request: Request, pk: int) -> Response:
        found = since_filed(filing_for(self.person, pk))
        told = {
            "receipts": f"{found.receipts:f}",
            "tax": f"{found.tax:f}",
            "digest": filing.digest_of(found.now),
            "lines": found.lines,
            "reads": [read.pk for read in found.reads],
        }
        return self.answer(shapes.FilingChangesOut, told)

    @gives(
        shapes.RecomputedOut,
        summary="Reckon a return anew from its frozen inputs and rules, and compare every figure",
    )
    @action(detail=True, methods=["get"], url_path="recomputed")
    def reckon_anew(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.RecomputedOut, recomputed(filing_for(self.person, pk)))

    @writes(
        shapes.AmendIn,
        shapes.FilingOut,
        status=201,
        tagged=True,
        summary="File a period anew; the return that it amends stays",
    )
    @action(detail=True, methods=["post"])
    def amend(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = filing_for(self.person, pk, write=True)
        new = filing.amend(filing=found, actor=self.person, now=self.now, **given)
        return self.created(shapes.FilingOut, filing_for(self.person, new.pk))


class FilingDuties(Doors):
    """How often a state wants a return, and when it is due."""

    described_by = FilingDuty

    @gives(shapes.FilingDutyOut, paged=True, summary="List filing duties")
    def list(self, request: Request) -> Response:
        return self.page(FilingDuty.objects.order_by("state", "pk"), shapes.FilingDutyOut)

    @gives(shapes.FilingDutyOut, tagged=True, summary="Look at a filing duty")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.FilingDutyOut, duty_for(self.person, pk))

    @writes(
        shapes.FilingDutyIn,
        shapes.FilingDutyOut,
        status=201,
        tagged=True,
        summary="Enter how often a state wants a return",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = tax_rules.save_duty(changes=given, actor=self.person, now=self.now)
        return self.created(shapes.FilingDutyOut, duty_for(self.person, saved.pk))

    @writes(
        shapes.FilingDutyIn,
        shapes.FilingDutyOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change a filing duty",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(duty_for, pk, shapes.FilingDutyOut)
        tax_rules.save_duty(duty=row, changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.FilingDutyOut, duty_for(self.person, pk))
