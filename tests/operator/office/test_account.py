"""Signing in and out, lock-out, forgotten passwords, one's own page."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from celery import current_app
from celery.exceptions import Retry
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from office import tasks
from people.actions import people, tokens
from people.models import DeviceToken, Person
from tests.cast import PASSWORD
from tests.live import free_port
from tests.typed import typed

pytestmark = pytest.mark.django_db
SIGN_IN = "/sign-in/"


def sign_in(client: Client, email: str, password: str = PASSWORD, **more: str) -> object:
    return client.post(SIGN_IN, {"username": email, "password": password, **more})


def test_a_person_comes_in_by_e_mail_whatever_its_capitals(client: Client, owner: Person) -> None:
    answer = sign_in(client, f" {owner.email.upper()} ", next="/fleet/")
    assert (answer.status_code, answer["Location"]) == (302, "/fleet/")  # type: ignore[attr-defined,index]
    assert client.get("/").status_code == 200


def test_nobody_is_sent_off_to_another_site(client: Client, owner: Person) -> None:
    answer = sign_in(client, owner.email, next="https://elsewhere.example/")
    assert answer["Location"] == "/"  # type: ignore[index]


def test_a_page_asked_for_before_signing_in_is_come_back_to(client: Client) -> None:
    answer = client.get("/fleet/?search=x")
    assert answer["Location"] == "/sign-in/?next=/fleet/%3Fsearch%3Dx"


def test_a_wrong_e_mail_and_a_wrong_password_are_refused_alike(
    client: Client, owner: Person
) -> None:
    wrong = [
        sign_in(client, owner.email, "something else").content,  # type: ignore[attr-defined]
        sign_in(client, "nobody@desk.example.org").content,  # type: ignore[attr-defined]
    ]
    said = [re.search(rb'role="alert">([^<]*)', page) for page in wrong]
    assert said[0] is not None
    assert said[1] is not None
    assert said[0][1] == said[1][1]


def test_after_five_failures_the_door_is_shut_however_the_capitals(
    client: Client, owner: Person, driver: Person
) -> None:
    for n in range(5):
        email = owner.email.upper() if n % 2 else owner.email
        answer = sign_in(client, email, "wrong")
    assert answer.status_code == 429  # type: ignore[attr-defined]
    shut = sign_in(client, owner.email)
    assert shut.status_code == 429  # type: ignore[attr-defined]
    assert b"Shut for a while" in shut.content  # type: ignore[attr-defined]
    assert sign_in(Client(), driver.email).status_code == 302  # type: ignore[attr-defined]


def test_signing_out_ends_it(owner: Person, desk: Callable[[Person], Client]) -> None:
    client = desk(owner)
    assert client.get("/sign-out/").status_code in {403, 405}
    client.post("/sign-out/")
    assert client.get("/").status_code == 302


def test_a_forgotten_password_is_set_by_letter_once(client: Client, driver: Person) -> None:
    client.post("/forgotten/", {"email": driver.email.upper()})
    [letter] = mail.outbox
    assert letter.to == [driver.email]
    link = re.search(r"http://testserver(/set-password/\S+)", letter.body)
    assert link is not None
    form = client.get(link[1])
    assert form["Location"].endswith("/now/")  # the key is no longer in the address
    new = "nine-columns-of-ginger"
    weak = client.post(form["Location"], {"password": "12345678901", "again": "12345678901"})
    assert weak.status_code == 422
    assert b"entirely numeric" in weak.content
    differ = client.post(form["Location"], {"password": new, "again": "other"})
    assert b"The two differ" in differ.content
    done = client.post(form["Location"], {"password": new, "again": new})
    assert done["Location"] == SIGN_IN
    assert client.get(link[1]).status_code == 410
    assert sign_in(client, driver.email, new).status_code == 302  # type: ignore[attr-defined]


def test_an_unknown_e_mail_gets_the_same_answer_and_no_letter(client: Client) -> None:
    answer = client.post("/forgotten/", {"email": "nobody@desk.example.org"})
    assert b"Look in your mail" in answer.content
    assert not mail.outbox


def test_a_person_gets_one_letter_in_five_minutes_and_everybody_the_same_answer(
    client: Client, driver: Person, owner: Person
) -> None:
    said = {client.post("/forgotten/", {"email": driver.email}).content for _ in range(3)}
    said.add(client.post("/forgotten/", {"email": "nobody@desk.example.org"}).content)
    assert [letter.to for letter in mail.outbox] == [[driver.email]]
    assert len({re.sub(rb"csrf[^>]*", b"", page) for page in said}) == 1
    client.post("/forgotten/", {"email": owner.email})
    assert len(mail.outbox) == 2
    cache.delete(f"letter:{driver.pk}")  # as when its time has passed
    client.post("/forgotten/", {"email": driver.email})
    assert len(mail.outbox) == 3


def test_a_request_neither_looks_an_e_mail_up_nor_sends_a_letter(
    client: Client,
    driver: Person,
    monkeypatch: pytest.MonkeyPatch,
    django_assert_num_queries: Callable,
) -> None:
    """What takes longer for a known e-mail tells that it is known."""
    monkeypatch.setitem(current_app.conf, "task_always_eager", False)
    with django_assert_num_queries(0):
        client.post("/forgotten/", {"email": driver.email})
    assert not mail.outbox


def test_a_mail_server_that_is_away_is_asked_again(driver: Person, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", free_port()
    with pytest.raises(Retry):
        tasks.send_letter.apply(
            (driver.pk, "forgotten", "http://testserver"), throw=True, retries=0
        ).get()


@pytest.mark.parametrize("who", ["MQ", "!!", "OTk5OTk5", "4pyT"])
def test_a_made_up_link_is_spent(client: Client, driver: Person, who: str) -> None:
    assert client.get(f"/set-password/{who}/abc-def/").status_code == 410


def test_ones_own_password_changes_with_the_old_one(
    driver: Person, desk: Callable[[Person], Client]
) -> None:
    client, other = desk(driver), desk(driver)
    new = "nine-columns-of-ginger"
    wrong = client.post("/me/password/", {"old": "no", "password": new, "again": new})
    assert (wrong.status_code, b"not your password" in wrong.content) == (422, True)
    client.post("/me/password/", {"old": PASSWORD, "password": new, "again": new})
    assert client.get("/me/").status_code == 200
    assert other.get("/me/").status_code == 302


def test_a_token_is_shown_once_and_taken_away(
    driver: Person, desk: Callable[[Person], Client]
) -> None:
    client = desk(driver)
    shown = client.post("/me/tokens/", {"name": "phone", "days": "30"}).content.decode()
    secret = re.search(r"data-secret>([^<]+)<", shown)
    assert secret is not None
    assert tokens.holder(secret=secret[1], now=timezone.now()) is not None
    assert secret[1] not in client.get("/me/").content.decode()
    client.post(f"/tokens/{DeviceToken.objects.get().pk}/revoke/")
    assert tokens.holder(secret=secret[1], now=timezone.now()) is None


def test_too_many_days_are_refused_beside_the_field(
    driver: Person, desk: Callable[[Person], Client]
) -> None:
    answer = desk(driver).post("/me/tokens/", {"name": "phone", "days": "9999"})
    assert answer.status_code == 422
    assert b'id="id_days_error"' in answer.content


def test_nobody_takes_anothers_token(
    driver: Person, dispatcher: Person, desk: Callable[[Person], Client]
) -> None:
    token, _ = tokens.issue(person=driver, name="phone", actor=driver, now=timezone.now())
    assert desk(dispatcher).post(f"/tokens/{token.pk}/revoke/").status_code == 404


def test_a_person_let_go_is_out_at_once(
    owner: Person, driver: Person, desk: Callable[[Person], Client]
) -> None:
    client = desk(driver)
    assert client.get("/").status_code == 200
    people.let_go(person=driver, actor=owner, now=timezone.now())
    assert client.get("/").status_code == 302
    client.post("/forgotten/", {"email": driver.email})
    assert not mail.outbox


def test_an_owner_adds_somebody_who_gets_a_letter(
    owner: Person, desk: Callable[[Person], Client], django_capture_on_commit_callbacks: Callable
) -> None:
    client = desk(owner)
    given = {"name": "Nia", "email": "nia@desk.example.org", "roles": ["driver", "dispatcher"]}
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/people/add/", given)
    assert answer["Location"] == "/people/"
    assert Person.objects.get(email="nia@desk.example.org").roles == ["dispatcher", "driver"]
    assert "set-password" in mail.outbox[0].body
    again = client.post("/people/add/", given)
    assert (again.status_code, b"already belongs to somebody" in again.content) == (422, True)


def test_the_last_owner_is_not_let_go(owner: Person, desk: Callable[[Person], Client]) -> None:
    answer = desk(owner).post(f"/people/{owner.pk}/let-go/")
    assert answer.status_code == 409
    assert b"the only owner" in answer.content


def test_settings_of_the_business_are_refused_beside_their_field(
    owner: Person, desk: Callable[[Person], Client]
) -> None:
    client = desk(owner)
    given = {
        "name": "Marrow",
        "units": "mm",
        "currency": "usd",
        "currency_exponent": "2",
        "time_zone": "America/New_York",
        "least_play_mm": "6.35",
        "most_play_mm": "19.05",
        "side_clearance_mm": "2",
        "test_vends_asked": "4",
    }
    given["shown"] = typed(client, "/business/")["shown"]
    assert client.post("/business/", given)["Location"] == "/business/"
    given["shown"] = typed(client, "/business/")["shown"]
    wrong = client.post("/business/", {**given, "least_play_mm": "thick"})
    assert wrong.status_code == 422
    assert b'id="id_least_play_mm_error"' in wrong.content


@pytest.fixture(autouse=True)
def _letters_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The worker's part is done in the request; nothing is remembered of another test."""
    cache.clear()
    monkeypatch.setitem(current_app.conf, "task_always_eager", True)
