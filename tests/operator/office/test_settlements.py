"""Settlements of cards at the desk: taken in, looked at by day, their columns edited."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from fleet.machines.models import Machine
from fleet.sales.models import CardTerminal, SettlementFile, SettlementLine, SettlementMapping
from people.models import Person

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]
COLUMNS = {
    "name": "ours",
    "date_column": "Day",
    "amount_column": "Gross",
    "terminal_column": "Terminal",
    "day_order": "year_first",
    "delimiter": ",",
    "decimal_mark": ".",
}
FEBRUARY = {"since": "2026-02-01", "until": "2026-02-28"}


def post(client: Client, door: str, *args: Any, **given: Any) -> Any:
    return client.post(reverse(f"office:{door}", args=args), given)


def page(client: Client, name: str, *args: Any, **asked: Any) -> str:
    answer = client.get(reverse(f"office:{name}", args=args), asked)
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_a_file_of_settlements_is_taken_in(sold: Machine, desk: Desk, accountant: Person) -> None:
    client = desk(accountant)
    given = {f"columns-{name}": value for name, value in COLUMNS.items()}
    assert post(client, "settlements-columns", **given).status_code == 302
    page = client.get(reverse("office:settlements"))
    mapping = page.context["taking"].fields["mapping"].queryset.get()
    for raw, status in ((b"Day,Terminal\n", 422), (b"Day,Terminal,Gross\n2026-02-04,T1,30\n", 302)):
        sent = SimpleUploadedFile("week.csv", raw)
        answer = post(
            client, "settlements-take-in", **{"file-file": sent, "file-mapping": mapping.pk}
        )
        assert answer.status_code == status
    hung = {"code": "T1", "machine": sold.pk, "starts_on": "2026-01-01"}
    given = {f"terminal-{name}": value for name, value in hung.items()}
    assert post(client, "card-terminal", **given).status_code == 302
    assert SettlementLine.objects.get().machine == sold
    shown = client.get(
        reverse("office:settlements"), {"since": "2026-02-01", "until": "2026-02-28"}
    )
    assert "less was settled than sold" in shown.content.decode()


def taken_in(client: Client, machine: Machine) -> SettlementFile:
    """One line of 30.00 by the machine's number."""
    post(
        client, "settlements-columns", **{f"columns-{key}": value for key, value in COLUMNS.items()}
    )
    raw = f"Day,Terminal,Gross\n2026-02-04,{machine},30\n2026-02-05,@gone,9\n".encode()
    post(
        client,
        "settlements-take-in",
        **{
            "file-file": SimpleUploadedFile("week.csv", raw),
            "file-mapping": SettlementMapping.objects.get().pk,
        },
    )
    return SettlementFile.objects.get()


def test_the_days_of_one_machine(sold: Machine, desk: Desk, accountant: Person) -> None:
    client = desk(accountant)
    taken_in(client, sold)
    shown = page(client, "settlements-machine", sold.pk, **FEBRUARY)
    assert "Less was settled than sold." in shown
    # Ten days of four vends at 1.75 each, and one day with 30.00 settled.
    for told in ("$30.00", "$70.00", "\u2212$40.00"):
        assert told in shown
    assert "No read" not in shown
    # The days of the first and the last read: what was before and after them nobody counted.
    assert shown.count('<span class="quiet">in part</span>') == 2
    none = page(client, "settlements-machine", sold.pk, since="2025-01-01", until="2025-01-31")
    assert "Nothing was sold for cards" in none
    far = client.get(
        reverse("office:settlements-machine", args=[sold.pk]),
        {"since": "2026-02-28", "until": "2026-02-01"},
    )
    assert (far.status_code, "give a day from" in far.content.decode()) == (422, True)


def test_files_for_a_spreadsheet(sold: Machine, desk: Desk, accountant: Person) -> None:
    client = desk(accountant)
    taken_in(client, sold)
    days = page(client, "settlements-export", **FEBRUARY, rows="days").splitlines()
    assert days[0] == "machine,terminal,day,counted,settled,difference,fee,reads tell"
    assert days[-1].startswith("not known,'@gone,2026-02-05,,9.00,,0.00")
    told = [line.rpartition(",")[2] for line in days[1:-1]]
    assert told == ["in part", *["whole"] * (len(told) - 2), "in part"]
    off = page(client, "settlements-export", **FEBRUARY, rows="mismatches").splitlines()
    assert len(off) == 3
    assert off[2].endswith(
        "terminal @gone on 2026-02-05: no terminal and no machine has this number"
    )
    assert off[1].endswith("less was settled than sold")
    alike = page(client, "settlements-export", **FEBRUARY, rows="mismatches", tolerance="40")
    assert [line.partition(",")[0] for line in alike.splitlines()] == ["machine", "not known"]
    one = page(client, "settlements-export", **FEBRUARY, rows="days", machine=sold.pk)
    assert "@gone" not in one


def test_columns_are_edited_for_later_files(
    sold: Machine, desk: Desk, accountant: Person, dispatcher: Person
) -> None:
    client = desk(accountant)
    file = taken_in(client, sold)
    (mapping,) = SettlementMapping.objects.all()
    assert "week.csv" in page(client, "settlements-mapping", mapping.pk)
    bad = post(client, "settlements-mapping", mapping.pk, **(COLUMNS | {"decimal_mark": ","}))
    assert (bad.status_code, "parts the columns" in bad.content.decode()) == (422, True)
    wanted = COLUMNS | {"amount_column": "Sum"}
    assert post(client, "settlements-mapping", mapping.pk, **wanted).status_code == 302
    mapping.refresh_from_db()
    assert mapping.amount_column == "Sum"
    file.refresh_from_db()
    assert file.columns["amount_column"] == "Gross"
    assert SettlementLine.objects.filter(file=file).count() == 2
    assert "Gross" in page(client, "settlements-mapping", mapping.pk)  # in the trail
    assert post(desk(dispatcher), "settlements-mapping", mapping.pk, **wanted).status_code == 403
    assert desk(dispatcher).get(reverse("office:settlements")).status_code == 200


def test_a_terminal_is_taken_down_and_its_entry_set_right(
    sold: Machine, desk: Desk, accountant: Person, dispatcher: Person
) -> None:
    client = desk(accountant)
    taken_in(client, sold)
    hung = {"code": str(sold), "machine": sold.pk, "starts_on": "2026-01-01"}
    post(client, "card-terminal", **{f"terminal-{name}": value for name, value in hung.items()})
    row = CardTerminal.objects.get()
    assert row.code in page(client, "card-terminals")
    assert "It was taken down" in page(client, "card-terminal-entry", row.pk)
    early = post(client, "card-terminal-end", row.pk, **{"end-ends_on": "2025-01-01"})
    assert (early.status_code, "give a later day" in early.content.decode()) == (422, True)
    ended = post(client, "card-terminal-end", row.pk, **{"end-ends_on": "2026-02-03"})
    assert ended.status_code == 302
    shown = page(client, "settlements", **FEBRUARY)
    assert f"The terminal was taken down from {sold} on 2026-02-03." in shown
    right = {"code": row.code, "machine": sold.pk, "starts_on": "2026-01-01", "why": "it hangs"}
    given = {f"correct-{name}": value for name, value in right.items()}
    unsaid = given | {"correct-why": ""}
    assert post(client, "card-terminal-correct", row.pk, **unsaid).status_code == 422
    assert post(client, "card-terminal-correct", row.pk, **given).status_code == 302
    assert "withdrawn: it hangs" in page(client, "card-terminals")
    old = page(client, "card-terminal-entry", row.pk)
    assert "It stays as evidence" in old
    assert "It was taken down" not in old
    made = CardTerminal.objects.get(instead_of=row)
    gone = post(client, "card-terminal-withdraw", made.pk, **{"withdraw-why": "sold on"})
    assert gone.status_code == 302
    assert not CardTerminal.objects.standing().exists()
    assert desk(dispatcher).get(reverse("office:card-terminals")).status_code == 200
    assert "It was taken down" not in page(desk(dispatcher), "card-terminal-entry", made.pk)
    assert post(desk(dispatcher), "card-terminal-end", made.pk).status_code == 403
