"""The books are proved from every line; a level that was doctored is found."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from fleet.inventory.models import MovementLine, StockLevel
from tests.fleet.inventory.stores import Stores

pytestmark = pytest.mark.django_db


def check() -> tuple[str, int]:
    said = StringIO()
    try:
        call_command("check_stock", stdout=said)
    except CommandError as failed:
        return said.getvalue(), failed.returncode
    return said.getvalue(), 0


def lifted(statement: str, *values: object) -> None:
    """Run a statement as somebody could who lifts the triggers."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(statement, values)
        cursor.execute("SET LOCAL session_replication_role = origin")


def test_books_that_balance(stores: Stores) -> None:
    stores.receive(9, stores.new)
    stores.load(4)
    said, status = check()
    assert status == 0
    assert said == "The books balance: 2 movements, 2 lines, 2 levels.\n"


def test_a_doctored_level(stores: Stores) -> None:
    stores.receive(9, stores.new)
    stores.load(4)
    StockLevel.objects.filter(place=stores.truck).update(quantity=5)
    said, status = check()
    assert status == 1
    assert said == "level_differs: Van 1: Cola (NEW) is 4 by the ledger and 5 by the level\n"


def test_a_level_that_is_gone_or_made_up(stores: Stores) -> None:
    stores.receive(9, stores.new)
    StockLevel.objects.all().delete()
    StockLevel.objects.create(place=stores.truck, product=stores.tea, quantity=3, is_estimate=False)
    said, status = check()
    assert status == 1
    assert "Canal depot: Cola (NEW) is 9 by the ledger and 0 by the level" in said
    assert "Van 1: Tea is 0 by the ledger and 3 by the level" in said


def test_a_level_that_calls_itself_an_estimate(stores: Stores) -> None:
    stores.receive(9, stores.new)
    StockLevel.objects.update(is_estimate=True)
    assert check() == ("below_zero: Canal depot: Cola is kept as 9, which cannot be\n", 1)


def test_lines_that_somebody_changed_behind_the_triggers(stores: Stores) -> None:
    movement = stores.receive(9, stores.new)
    lifted("UPDATE inventory_movementline SET quantity = 8")
    said, status = check()
    assert status == 1
    assert "is 8 by the ledger and 9 by the level" in said
    lifted("DELETE FROM inventory_movementline")
    said, _ = check()
    assert f"movement_broken: movement {movement.pk} has no line" in said


def test_a_lot_of_another_product(stores: Stores) -> None:
    stores.receive(9, stores.new)
    line = MovementLine.objects.get()
    lifted("UPDATE inventory_movementline SET product_id = %s", stores.tea.pk)
    said, _ = check()
    assert f"movement_broken: movement {line.movement_id} moves a lot of another product" in said
