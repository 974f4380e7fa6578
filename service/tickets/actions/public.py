"""What a customer reports on the page behind a sticker, without being known to anybody."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from fleet.machines.models import Selection
from people.errors import Unacceptable

from ..models import Refund, Sticker, Symptom, Ticket
from ..queries.duplicates import same
from . import attachments, reporting

LONGEST = 1000
"""Characters; a customer's words are few, and the rest is not ours to keep."""
REACHED = (Refund.Method.POST, Refund.Method.PHONE)
"""Ways of paying that need to know where the customer is reached."""
OFFERED = (Refund.Method.CASH, *REACHED)


@dataclass(frozen=True)
class Said:
    """What a customer filled in. `amount` None: no money is wanted back."""

    symptom: Symptom
    selection: Selection | None = None
    paid_how: str = ""
    words: str = ""
    amount: Decimal | None = None
    method: str = ""
    contact_name: str = ""
    contact_reach: str = ""
    photo: tuple[str, bytes] | None = None
    """Its name and its bytes."""


@transaction.atomic
def report(*, sticker: Sticker, said: Said, now: datetime) -> reporting.Reported:
    """Make a ticket of what a customer says; the same fault that is open already is joined.

    Raises Unacceptable.
    """
    _require(sticker, said)
    column = None
    words = said.words.strip()
    if said.selection is not None:
        behind = list(said.selection.columns.order_by("position__order", "pk")[:2])
        if len(behind) == 1:
            column = behind[0]
        else:  # front and rear behind one button: which of them, nobody outside can tell
            words = f"Selection {said.selection.code}. {words}".strip()
    open_ones = same(sticker.machine, said.symptom, column)
    wanted = None
    if said.amount is not None:
        wanted = reporting.Wanted(said.amount, said.method)
    reported = reporting.report(
        machine=sticker.machine,
        symptom=said.symptom,
        column=column,
        source=Ticket.Source.PUBLIC,
        actor=None,
        paid_how=said.paid_how,
        said=words,
        contact_name=said.contact_name,
        contact_reach=said.contact_reach,
        refund=wanted,
        join=open_ones[0] if open_ones else None,
        now=now,
    )
    if said.photo is not None:
        name, raw = said.photo
        attachments.add(ticket=reported.ticket, name=name, raw=raw, actor=None, now=now)
    return reported


def _require(sticker: Sticker, said: Said) -> None:
    wrong: dict[str, str] = {}
    if not said.symptom.active or not said.symptom.public_words:
        wrong["symptom"] = "choose one of those that are asked"
    if said.selection is not None and said.selection.machine_id != sticker.machine_id:
        wrong["selection"] = "that is a selection of another machine"
    if len(said.words) > LONGEST:
        wrong["words"] = f"at most {LONGEST} characters; these are {len(said.words)}"
    if said.amount is None:
        if said.method:
            wrong["amount"] = "say how much you want back"
    elif said.method not in OFFERED:
        wrong["method"] = "say how you want it back"
    elif said.method in REACHED and not said.contact_reach.strip():
        wrong["contact_reach"] = "without it the money cannot reach you"
    if wrong:
        raise Unacceptable(
            "; ".join(f"{name}: {text}" for name, text in wrong.items()), fields=wrong
        )
