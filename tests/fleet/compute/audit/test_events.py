"""Event ids and their meanings."""

import pytest

from fleet.compute.audit.events import MEANINGS, meaning_of, qualifier_words, split_id
from fleet.compute.audit.reader import read_report
from tests.fleet.compute.audit.samples import sealed


@pytest.mark.parametrize(
    ("event_id", "base", "qualifier"),
    [
        ("EJB_12", "EJB", "12"),
        ("EGS", "EGS", None),
        ("EAU_000C", "EAU", "000C"),
        ("EC_", "EC", None),
    ],
)
def test_ids_are_split_at_the_underscore(event_id, base, qualifier):
    assert split_id(event_id) == (base, qualifier)


@pytest.mark.parametrize(
    ("event_id", "group", "part"),
    [
        ("EJB_12", "EJ", "Dispense motor"),
        ("ELB_13", "EL", "Sold out"),
        ("EAR", "EA", "does not answer"),
        ("EC1C", "EC", "Temperature sensor"),
        ("EA1", "EA", "cassette"),
        ("EK2M", "EK2", "does not answer"),
        ("EKM", "EK", "does not answer"),
        ("EGS", "EG", "opened"),
        ("DO", "older", "opened"),
        ("OA1C", "OA", "filled"),
        ("EBW", "EB", "no fault found"),
        ("OFD", "OF", "tubes emptied"),
    ],
)
def test_meanings(event_id, group, part):
    meaning = meaning_of(event_id)
    assert meaning.known
    assert meaning.group == group
    assert part in meaning.words


def test_a_groups_own_meaning_goes_before_the_common_one():
    assert all(meaning_of(f"{group}X").known for group in ("EA", "EC", "EG", "EK2", "EO"))
    assert not meaning_of("OAX").known


@pytest.mark.parametrize(
    ("event_id", "group", "about"),
    [
        ("EBM_1", "EB", "cup system"),
        ("OCM mdb", "OC", "customer or site"),
        ("ZZ9", "ZZ", "not of the standard"),
        ("", "", "not of the standard"),
    ],
)
def test_makers_own_events_are_kept_and_grouped(event_id, group, about):
    meaning = meaning_of(event_id)
    assert not meaning.known
    assert (meaning.group, meaning.about) == (group, about)


@pytest.mark.parametrize(
    ("event_id", "words"),
    [
        ("EAU_000C", "coin jam"),
        ("ENU_04", "program memory check failed"),
        ("EAU_1203", "code 1203"),
        ("EKU_4X", "code 4X"),
        ("EJB_12", "at 12"),
        ("EGS", None),
    ],
)
def test_qualifiers_in_words(event_id, words):
    """0x0C coin jam and 0x04 program memory are examples fixed by the standard's tables."""
    assert qualifier_words(event_id) == words


def test_every_meaning_is_complete():
    for base, meaning in MEANINGS.items():
        assert meaning.base == base
        assert meaning.words
        assert meaning.urgency in ("now", "soon", "next_visit", "none")
        assert meaning.job in (
            "repair", "clean", "fill", "change", "collect", "cooling", "check", "none",
        )  # fmt: skip


def test_active_is_only_what_says_one():
    report = read_report(
        sealed("EA2*EJA*3*9**1", "EA2*EJB*3*9**0", "EA2*EJC*3*9", "EA2**1*1", "EA2*EJD*0*9**")
    )
    assert [(total.event_id, total.active, total.over) for total in report.event_totals] == [
        ("EJA", True, False),
        ("EJB", False, True),
        ("EJC", False, True),
        ("EJD", False, False),
    ]
