"""Commission and settlements at the desk: agreed, previewed, issued, paid; a file taken in."""

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from fleet.machines.models import Machine
from fleet.sales.models import Agreement, Statement
from people.models import Person

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


def post(client: Client, name: str, *args: Any, **given: Any) -> Any:
    return client.post(reverse(f"office:{name}", args=args), given)


def test_a_statement_from_terms_to_the_payment(
    sold: Machine, desk: Desk, accountant: Person
) -> None:
    client = desk(accountant)
    site = sold.placements.get().site
    terms = {
        "site": site.pk,
        "starts_on": "2026-01-01",
        "rhythm": "monthly",
        "steps": "0 10\n50 20",
        "marginal": "on",
        "minimum": "5",
    }
    assert post(client, "commission-agreement-add", **(terms | {"steps": "0"})).status_code == 422
    backwards = post(client, "commission-agreement-add", **(terms | {"ends_on": "2025-12-01"}))
    assert backwards.status_code == 422
    assert "the agreement must end after it starts" in backwards.content.decode()
    assert post(client, "commission-agreement-add", **terms).status_code == 302
    agreement = Agreement.objects.get()
    assert agreement.terms["steps"] == [["0", "10"], ["50", "20"]]
    page = client.get(
        reverse("office:statement-preview", args=[agreement.pk]), {"day": "2026-02-05"}
    )
    assert "Issue this statement" in page.content.decode()
    # Fifty at 10 % and the twenty above at 20 %.
    assert "$9.00" in page.content.decode()
    asked = {"day": "2026-02-05", "digest": page.context["found"].digest}
    stale = post(client, "statement-issue", agreement.pk, **(asked | {"digest": "x"}))
    assert stale.status_code == 409, "somebody else did something meanwhile"
    assert "look at them again" in stale.content.decode()
    assert "$9.00" in stale.content.decode(), "as it would be now"
    assert not Statement.objects.exists()
    assert post(client, "statement-issue", agreement.pk, **asked).status_code == 302
    made = Statement.objects.get()
    for day, why in (("2026-02-05", f"{made} tells of"), ("2040-02-05", "the period ends on")):
        again = client.get(
            reverse("office:statement-preview", args=[agreement.pk]), {"day": day}
        ).content.decode()
        assert why in again
        assert "Issue this statement" not in again, "it would only be refused"
    paid = {"pay-amount": "9.00", "pay-paid_on": "2026-03-02"}
    assert post(client, "statement-pay", made.pk, **paid).status_code == 302
    assert post(client, "statement-pay", made.pk, **paid).status_code == 422
    wrong = {"correct-amount": "-1", "correct-reason": "counted twice"}
    assert post(client, "statement-correct", made.pk, **wrong).status_code == 302
    assert (
        "counted twice" in client.get(reverse("office:statement", args=[made.pk])).content.decode()
    )
    assert client.get(reverse("office:statement-paper", args=[made.pk])).content[:5] == b"%PDF-"
    one = client.get(reverse("office:statement-export", args=[made.pk])).content.decode()
    assert one.splitlines()[1].startswith("commission,LOB-1,drink,70.00,0.00,0.00,0.00,70.00,")
    assert one.splitlines()[-1] == "due,,,,,,,,,9.00"
    listed = client.get(reverse("office:statements-export"), {"as": "xlsx"})
    sheet = load_workbook(io.BytesIO(listed.content)).active
    assert (sheet["A2"].value, sheet["M2"].value) == (1, 9)
    assert "corrections for the next" in client.get(reverse("office:commission")).content.decode()
    run = post(client, "statements-run", day="2026-02-05", rhythm="monthly")
    assert run.status_code == 302
    told = client.get(reverse("office:commission")).content.decode()
    assert "No statement to issue" in told
    assert Statement.objects.count() == 1


def test_a_driver_sees_neither(sold: Machine, desk: Desk, driver: Person) -> None:
    for name in ("commission", "settlements"):
        assert desk(driver).get(reverse(f"office:{name}")).status_code == 403
