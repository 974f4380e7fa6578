"""What hosts are promised and paid: agreements, statements, corrections, payments."""

from typing import Any

from django_filters import DateFilter, FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.exports import PARAMETER, Exporting, exports
from api.filters import Id, Word
from fleet.sales import money_tables
from fleet.sales.actions import commission
from fleet.sales.actions.agreements import save_agreement
from fleet.sales.models import Agreement, Statement
from fleet.sales.queries.commission import (
    agreement_for,
    agreements,
    statement_for,
    statements,
)
from people.exports import Table, within
from people.models import Business
from service.compliance import statements as runs

from . import commission_shapes as shapes


class AgreementFilter(FilterSet):
    site = Id()
    rhythm = Word(of=Agreement.Rhythm)


class CommissionAgreements(Doors):
    """How the host of a site is paid, from a day to before another."""

    described_by = Agreement
    filterset_class = AgreementFilter

    @gives(shapes.CommissionAgreementOut, paged=True, summary="List agreements with hosts")
    def list(self, request: Request) -> Response:
        return self.page(agreements().order_by("pk"), shapes.CommissionAgreementOut)

    @gives(shapes.CommissionAgreementOut, tagged=True, summary="Look at an agreement with a host")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.CommissionAgreementOut, agreement_for(self.person, pk))

    @writes(
        shapes.CommissionAgreementIn,
        shapes.CommissionAgreementOut,
        status=201,
        tagged=True,
        summary="Agree with a host",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        saved = save_agreement(agreement=None, changes=given, actor=self.person, now=self.now)
        return self.created(shapes.CommissionAgreementOut, agreement_for(self.person, saved.pk))

    @writes(
        shapes.CommissionAgreementIn,
        shapes.CommissionAgreementOut,
        partial=True,
        tagged=True,
        matched=True,
        summary="Change an agreement; once statements were issued by it, only end it",
    )
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        row = self.matched(agreement_for, pk, shapes.CommissionAgreementOut)
        save_agreement(agreement=row, changes=given, actor=self.person, now=self.now)
        return self.answer(shapes.CommissionAgreementOut, agreement_for(self.person, pk))

    @gives(
        shapes.StatementPreviewOut,
        query=shapes.DayQuery,
        summary="Preview the statement of the period that a day lies in",
    )
    @action(detail=True, methods=["get"])
    def preview(self, request: Request, pk: int, asked: dict[str, Any]) -> Response:
        found = runs.preview_of(agreement_for(self.person, pk), asked["day"])
        return self.answer(shapes.StatementPreviewOut, found)


class StatementFilter(FilterSet):
    site = Id()
    agreement = Id()
    starts_from = DateFilter("starts_on", lookup_expr="gte")
    starts_until = DateFilter("starts_on", lookup_expr="lte")


class Statements(Exporting, Doors):
    """What hosts were told, frozen when it was issued, and what they were paid."""

    described_by = Statement
    filterset_class = StatementFilter

    @gives(shapes.StatementBriefOut, paged=True, summary="List statements, the latest first")
    def list(self, request: Request) -> Response:
        rows = statements().order_by("-starts_on", "-pk")
        return self.page(rows, shapes.StatementBriefOut)

    @exports("Statements as a file, the latest first")
    def export(self, request: Request) -> Table:
        rows = self.narrowed(statements().order_by("-starts_on", "-pk"), PARAMETER)
        return money_tables.statements(within(rows), Business.the().time_zone)

    @gives(shapes.StatementOut, tagged=True, summary="Look at a statement")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(shapes.StatementOut, statement_for(self.person, pk))

    @writes(
        shapes.StatementIn,
        shapes.StatementOut,
        status=201,
        tagged=True,
        summary="Issue a statement as it was previewed",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        made = runs.issue_seen(actor=self.person, now=self.now, **given)
        return self.created(shapes.StatementOut, statement_for(self.person, made.pk))

    @writes(
        shapes.StatementRunIn,
        shapes.StatementRunOut,
        summary="Issue the statements of every site for a period",
    )
    @action(detail=False, methods=["post"])
    def run(self, request: Request, given: dict[str, Any]) -> Response:
        made = runs.run_statements(actor=self.person, now=self.now, **given)
        return self.answer(shapes.StatementRunOut, {"statements": [one.pk for one in made]})

    @writes(
        shapes.CorrectionIn,
        shapes.StatementOut,
        tagged=True,
        summary="Correct a statement; the next one of the site carries it",
    )
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = statement_for(self.person, pk, write=True)
        commission.correct(statement=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.StatementOut, statement_for(self.person, pk))

    @writes(
        shapes.PaymentIn,
        shapes.StatementOut,
        tagged=True,
        summary="Write down what a host was paid",
    )
    @action(detail=True, methods=["post"])
    def pay(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        found = statement_for(self.person, pk, write=True)
        commission.pay(statement=found, actor=self.person, now=self.now, **given)
        return self.answer(shapes.StatementOut, statement_for(self.person, pk))

    @writes(output=shapes.StatementOut, tagged=True, summary="Mail a statement to its host")
    @action(detail=True, methods=["post"])
    def send(self, request: Request, pk: int) -> Response:
        found = statement_for(self.person, pk, write=True)
        commission.send(statement=found, actor=self.person, now=self.now)
        return self.answer(shapes.StatementOut, statement_for(self.person, pk))
