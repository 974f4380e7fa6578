"""Filing a return: freezing what went in and what came out; and amending it when more is known."""

from datetime import datetime
from typing import Final

from django.db import connection, transaction

from people import audit
from people.errors import Unable, Unacceptable
from people.models import Business, Person
from service.compute.tax.report import digest, figures, inputs

from ..models import Filing
from ..queries.filing import (
    frozen,
    overlapping,
    period_of,
    since_filed,
    standing_filing,
    today,
)
from ..queries.tax import TaxReport, tax_report
from ..sums.gathering import Period

ONE_AT_A_TIME: Final = 7_301_463
"""Of the database's advisory locks."""


class UnableToFile(Unable):
    code = "unable_to_file"


@transaction.atomic
def file_period(
    *,
    state: str,
    period: Period,
    actor: Person,
    now: datetime,
    seen: str = "",
    reference: str = "",
    note: str = "",
) -> Filing:
    """File the return of a state for a period that is over.

    `seen` is the digest of the preview that the person judged: where the books have changed since,
    nothing is filed. Raises UnableToFile.
    """
    _one_at_a_time()
    if period.ends_on > today():
        raise UnableToFile(
            f"{period.starts_on} to {period.ends_on} is not over yet", code="not_over"
        )
    before = standing_filing(state, period)
    if before is not None:
        raise UnableToFile(
            f"{before} was filed on {Business.the().day_of(before.filed_at)}; amend it",
            code="filed_before",
        )
    other = overlapping(state, period)
    if other is not None:
        raise UnableToFile(
            f"{other} tells of {other.starts_on} until before {other.ends_on}; receipts of these "
            "days would be returned twice",
            code="filed_in_part",
        )
    made = tax_report(period, state=state)
    return _freeze(made, state, seen, actor, now, reference, note, None)


@transaction.atomic
def amend(
    *,
    filing: Filing,
    actor: Person,
    now: datetime,
    note: str,
    seen: str = "",
    reference: str = "",
) -> Filing:
    """File a period anew, as the books stand now; the return that it amends stays as it is.

    Raises UnableToFile where nothing has changed or another amendment was filed meanwhile.
    """
    _one_at_a_time()
    last = standing_filing(filing.state, period_of(filing))
    if last is None or last.pk != filing.pk:
        raise UnableToFile(f"{filing} was amended meanwhile; amend that", code="amended_before")
    if not note.strip():
        message = "say what came to light"
        raise Unacceptable(message, fields={"note": message})
    changes = since_filed(filing)
    if changes.is_same:
        raise UnableToFile(f"nothing of {filing} has changed", code="nothing_changed")
    return _freeze(changes.now, filing.state, seen, actor, now, reference, note, filing)


def _freeze(
    made: TaxReport,
    state: str,
    seen: str,
    actor: Person,
    now: datetime,
    reference: str,
    note: str,
    amends: Filing | None,
) -> Filing:
    gathered = made.gathered
    data = inputs(gathered.facts, gathered.rules)
    found = digest(data)
    if seen and seen != found:
        raise UnableToFile(
            "the books have changed since the preview; look at it again", code="changed_meanwhile"
        )
    filing = Filing(
        state=state,
        starts_on=gathered.period.starts_on,
        ends_on=gathered.period.ends_on,
        basis=gathered.basis,
        rounding=str(made.report.rounding),
        inputs=frozen(data),
        digest=found,
        figures=figures(made.report),
        receipts=made.report.totals.receipts,
        tax=made.report.totals.tax,
        currency=Business.the().currency,
        reference=reference.strip(),
        note=note.strip(),
        filed_at=now,
        filed_by=actor,
        amends=amends,
    )
    filing.full_clean(exclude=["inputs"])
    filing.save(force_insert=True)
    audit.record(
        actor=actor,
        verb="amend return" if amends else "file return",
        row=filing,
        now=now,
        after={
            "state": state,
            "starts_on": filing.starts_on,
            "ends_on": filing.ends_on,
            "receipts": filing.receipts,
            "tax": filing.tax,
            "digest": found,
        },
        reason=filing.note,
    )
    return filing


def _one_at_a_time() -> None:
    """Wait until nobody else files: two returns of one period would both be the first."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])


def digest_of(made: TaxReport) -> str:
    """The digest of a preview, by which it is told whether the books have changed since."""
    return digest(inputs(made.gathered.facts, made.gathered.rules))
