"""A refusal says what would be right, so that nobody has to guess or to read the source."""

from collections.abc import Callable
from typing import Any

import pytest

from fleet.machines.models import Machine
from people.models import Person
from tests.callers import Caller

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


def test_a_row_that_is_not_there_is_named_by_its_noun(
    lobby: Machine, as_owner: Caller, refused: Refused
) -> None:
    column = lobby.columns.first()
    assert column is not None
    said = refused(as_owner.get(f"/columns/{column.pk}/fit", {"product": "99999"}), 400)
    assert said["errors"] == [
        {"parameter": "product", "detail": "there is no product 99999", "code": "does_not_exist"}
    ]
    line = {"column": 99999, "product": 99999}
    plan = {"purpose": "summer", "planned_for": "2026-03-02", "lines": [line]}
    said = refused(as_owner.post("/changeover-plans", plan), 422)
    assert [one["detail"] for one in said["errors"]] == [
        "there is no column 99999",
        "there is no product 99999",
    ]


def test_a_word_that_is_not_in_the_list_is_answered_with_the_list(
    as_owner: Caller, refused: Refused
) -> None:
    said = refused(as_owner.get("/machines", {"status": "broken"}), 400)
    assert said["errors"][0]["detail"] == (
        "broken: unknown; known here: in_service, in_shop, in_store, retired"
    )
    said = refused(as_owner.get("/tokens", {"revoked": "maybe"}), 400)
    assert said["errors"][0]["detail"] == "maybe: unknown; known here: true, false"
    body = {"name": "A can", "shape": "box", "length_mm": 122}
    said = refused(as_owner.post("/packages", body), 422)
    assert said["errors"] == [
        {
            "pointer": "/shape",
            "detail": "box: unknown; known here: can, necked_bottle, bottle_without_neck, carton, "
            "bag",
            "code": "invalid_choice",
        }
    ]
    query = {"period": "fortnight", "by": "product", "since": "2026-01-01", "until": "2026-02-01"}
    said = refused(as_owner.get("/sales-totals", query), 400)
    assert said["errors"][0] == {
        "parameter": "period",
        "detail": "fortnight: unknown; known here: day, week, month, quarter, year",
        "code": "invalid_choice",
    }


def test_a_body_that_is_no_object(as_owner: Caller, refused: Refused) -> None:
    said = refused(as_owner.post("/packages", [1]), 422)
    assert said["errors"] == [
        {"pointer": "", "detail": "give an object with named members", "code": "invalid"}
    ]
    plan = {"purpose": "summer", "planned_for": "2026-03-02", "lines": [7]}
    said = refused(as_owner.post("/changeover-plans", plan), 422)
    assert said["errors"][0]["pointer"] == "/lines/0"
    assert said["errors"][0]["detail"] == "give an object with named members"


def test_a_parameter_given_twice(as_owner: Caller, refused: Refused) -> None:
    """Taking the last one in silence would answer a question that was not asked."""
    for address in ("/machines?status=retired&status=in_shop", "/machines?limit=2&limit=3"):
        said = refused(as_owner.get(address), 400, "bad_parameter")
        assert said["errors"][0]["code"] == "repeated"
        assert said["errors"][0]["detail"] == "given 2 times; give it once"
    query = "period=month&by=product&by=machine&since=2026-01-01&until=2026-02-01"
    said = refused(as_owner.get(f"/sales-totals?{query}"), 400)
    assert said["errors"][0]["parameter"] == "by"


def test_which_methods_and_forms_an_address_takes(as_owner: Caller, refused: Refused) -> None:
    assert refused(as_owner.delete("/machines"), 405)["detail"] == (
        "this address does not take DELETE; it takes GET, HEAD, POST"
    )
    packages = as_owner.client.post("/api/v1/packages", "<x/>", content_type="application/xml")
    assert refused(packages, 415)["detail"] == (
        "a body of application/xml cannot be read here; send application/json"
    )
    form = "application/x-www-form-urlencoded"
    file = as_owner.client.post("/api/v1/reads", "DXS*1", content_type=form)
    assert refused(file, 415)["detail"] == (
        f"a body of {form} cannot be read here; "
        "send application/octet-stream, text/plain or multipart/form-data"
    )
    page = as_owner.get("/machines", Accept="text/html")
    assert refused(page, 406)["detail"] == "this address answers in application/json"


def test_who_may_do_what_one_may_not(
    caller: Callable[[Any], Caller],
    as_driver: Caller,
    no_role: Person,
    accountant: Person,
    refused: Refused,
) -> None:
    assert refused(as_driver.post("/products", {}), 403)["detail"] == (
        "this is for the roles owner and dispatcher; yours: driver"
    )
    assert refused(as_driver.post("/people", {}), 403)["detail"] == (
        "this is for the role owner; yours: driver"
    )
    assert refused(caller(accountant).post("/reads"), 403)["detail"] == (
        "this is for the roles owner, dispatcher and driver; yours: accountant"
    )
    assert refused(caller(no_role).get("/machines"), 403)["detail"] == (
        "this is for the roles owner, dispatcher, driver and accountant; yours: none"
    )


def test_an_amount_is_told_as_it_was_sent(
    lobby: Machine, as_owner: Caller, refused: Refused
) -> None:
    answer = as_owner.get("/products")
    product = answer.json()["items"][0]
    tag = as_owner.get(f"/products/{product['id']}")["ETag"]
    said = refused(as_owner.patch(f"/products/{product['id']}", {"price": "1.755"}, tag=tag), 422)
    assert said["errors"][0]["detail"] == "1.755 has 3 decimal places; USD has 2"


def test_json_that_cannot_be_read_has_one_code(as_owner: Caller, refused: Refused) -> None:
    for address in ("/fit", "/packages"):
        answer = as_owner.client.post(
            f"/api/v1{address}", '{"position": ', content_type="application/json"
        )
        refused(answer, 400, "malformed")


def test_a_key_that_cannot_be_one(as_driver: Caller, refused: Refused) -> None:
    said = refused(as_driver.post("/changeovers/1/take", key="x" * 201), 400, "key_malformed")
    assert said["detail"] == (
        "Idempotency-Key: give 1 to 200 printable ASCII characters, in double quotes if there is "
        "a space among them"
    )


def test_rows_of_the_trail_that_cannot_be(as_owner: Caller, refused: Refused) -> None:
    said = refused(as_owner.get("/audit-entries", {"object_type": "changeover"}), 400)
    assert said["errors"][0]["detail"] == (
        "changeover: unknown; `object_type` of an entry has them, as in machines.Changeover"
    )
    assert as_owner.post("/sites", {"name": "Lobby"}).status_code == 201
    entries = as_owner.get("/audit-entries", {"object_type": "MACHINES.site"}).json()["items"]
    assert [one["object_type"] for one in entries] == ["machines.Site"]
