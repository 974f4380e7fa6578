"""What a period of an agreement comes to, and the figures that are frozen when it is issued."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any, Final

from fleet.compute.commission import MachineReceipts, Off
from fleet.compute.commission import Statement as Reckoned
from fleet.compute.commission import statement as reckon
from fleet.compute.owing import Due, Left, due_of
from fleet.machines.models import Machine
from people.models import Business

from .actions.agreements import covered_of
from .models import Agreement, Statement, StatementCorrection
from .queries.commission import Taken, by_site, left_over, receipts, waiting_corrections
from .terms import said, terms_from

NOTHING: Final = Decimal(0)


@dataclass(frozen=True)
class Deduction:
    """What one machine's receipts of a class at a site hold that may be taken off."""

    tax: Decimal = NOTHING
    deposit: Decimal = NOTHING
    refunds: Decimal = NOTHING


@dataclass(frozen=True)
class Preview:
    """What would be issued. `figures` is what is frozen; `digest` is of it."""

    agreement: Agreement
    starts_on: date
    ends_on: date
    reckoned: Reckoned
    owing: Due
    carried: tuple[StatementCorrection, ...]
    left_over: tuple[Statement, ...]
    figures: Mapping[str, Any]
    digest: str

    @property
    def due(self) -> Decimal:
        return self.owing.due


def preview(
    *,
    agreement: Agreement,
    starts_on: date,
    ends_on: date,
    deductions: Mapping[tuple[int, str], Deduction] | None = None,
    words: Sequence[str] = (),
    taken: Sequence[Taken] | None = None,
    names: Mapping[int, str] | None = None,
    carried: Sequence[StatementCorrection] | None = None,
    over: Sequence[Statement] | None = None,
) -> Preview:
    """What a period of an agreement comes to. Nothing is written.

    `deductions` are by machine and product class; None where nobody told them, which the figures
    then say. `words` are what the reader of the figures must know besides. `taken`, `names`,
    `carried` and `over` (statements of the site whose due is below nothing and not carried over)
    are given by who reckons many sites, and asked here otherwise.
    """
    business = Business.the()
    terms = terms_from(agreement.terms)
    if taken is None:
        found = receipts(starts_on, ends_on, sites=[agreement.site_id])
        taken = by_site(found).get(agreement.site_id, [])
    if names is None:
        keys = {one.machine_id for one in taken}
        names = dict(Machine.objects.filter(pk__in=keys).values_list("pk", "asset_tag"))
    if carried is None:
        carried = list(waiting_corrections([agreement.site_id]))
    if over is None:
        over = list(left_over([agreement.site_id]))
    told = [*words]
    if deductions is None and terms.base:
        off = ", ".join(one.value for one in Off if one in terms.base)
        told.append(f"Not known and not taken off: {off}.")
    untold = sum(one.untold for one in taken)
    if untold:
        told.append(
            f"{untold} lines tell how many were sold and not for how much; their money is in no "
            "figure here."
        )
    lines = _lines(taken, names, deductions or {})
    reckoned = reckon(
        terms,
        lines,
        places=business.currency_exponent,
        covered=covered_of(agreement, starts_on, ends_on),
    )
    owing = due_of(
        reckoned.amount,
        corrections=[one.amount for one in carried],
        left=[Left(one.number, one.due) for one in over],
        minimum=terms.minimum,
        places=business.currency_exponent,
    )
    reckoned = replace(reckoned, said=(*reckoned.said, *owing.said, *told))
    figures = _figures(agreement, starts_on, ends_on, lines, reckoned, owing, carried, business)
    figures["carried_over"] = [
        {"of_statement": one.number, "amount": _plain(one.due)} for one in over
    ]
    return Preview(
        agreement,
        starts_on,
        ends_on,
        reckoned,
        owing,
        tuple(carried),
        tuple(over),
        figures,
        digest_of(figures),
    )


def digest_of(figures: Mapping[str, Any]) -> str:
    """SHA-256 of figures as canonical JSON."""
    plain = json.dumps(figures, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(plain.encode()).hexdigest()


def _lines(
    taken: Sequence[Taken],
    names: Mapping[int, str],
    deductions: Mapping[tuple[int, str], Deduction],
) -> list[MachineReceipts]:
    """Receipts by machine and class, with what may be taken off each."""
    lines = []
    for one in sorted(taken, key=lambda one: (one.machine_id, one.form)):
        off = deductions.get((one.machine_id, one.form), Deduction())
        lines.append(
            MachineReceipts(
                names[one.machine_id], one.form, one.receipts, off.tax, off.deposit, off.refunds
            )
        )
    return lines


def _figures(
    agreement: Agreement,
    starts_on: date,
    ends_on: date,
    lines: Sequence[MachineReceipts],
    reckoned: Reckoned,
    owing: Due,
    carried: Sequence[StatementCorrection],
    business: Business,
) -> dict[str, Any]:
    off = {(one.machine, one.product_class): one for one in lines}
    return {
        "site": agreement.site.name,
        "starts_on": starts_on.isoformat(),
        "ends_on": ends_on.isoformat(),
        "currency": business.currency,
        "terms": agreement.terms,
        "terms_said": said(terms_from(agreement.terms)),
        "lines": [
            {
                "machine": one.machine,
                "product_class": one.product_class,
                "receipts": _plain(one.receipts),
                "tax": _plain(off[one.machine, one.product_class].tax),
                "deposit": _plain(off[one.machine, one.product_class].deposit),
                "refunds": _plain(off[one.machine, one.product_class].refunds),
                "base": _plain(one.base),
                "percent": None if one.percent is None else _plain(one.percent),
                "amount": _plain(one.amount),
            }
            for one in reckoned.lines
        ],
        "machines": [
            {
                "machine": one.machine,
                "receipts": _plain(one.receipts),
                "base": _plain(one.base),
                "commission": _plain(one.commission),
                "minimum_added": _plain(one.minimum_added),
                "amount": _plain(one.amount),
            }
            for one in reckoned.by_machine
        ],
        "receipts": _plain(reckoned.receipts),
        "base": _plain(reckoned.base),
        "commission": _plain(reckoned.commission),
        "minimum_added": _plain(reckoned.minimum_added),
        "amount": _plain(reckoned.amount),
        "carried": [
            {
                "of_statement": one.statement.number,
                "amount": _plain(one.amount),
                "reason": one.reason,
            }
            for one in carried
        ],
        "due": _plain(owing.due),
        "said": list(reckoned.said),
    }


def _plain(amount: Decimal) -> str:
    return f"{amount:f}"
