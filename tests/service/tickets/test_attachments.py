"""Attachments: only pictures and PDF, written anew, small, few."""

import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from people.errors import NotAllowed, Unable, Unacceptable
from people.models import AuditEntry, Person
from service.tickets import pictures
from service.tickets.actions import attachments
from service.tickets.models import Attachment
from tests.service.tickets.ticketwork import TicketWork, clock

PDF = b"%PDF-1.7\n%a paper\n"
GPS, MAKE, DATE, TURNED = 0x8825, 0x010F, 0x0132, 0x0112
"""Tags of the Exif standard (CIPA DC-008): place, maker of the camera, time, orientation."""


def picture(kind: str = "JPEG", size: tuple[int, int] = (60, 40), colour: Any = "teal") -> bytes:
    """A picture as a camera makes it: with the place, the time and a comment in it."""
    exif = Image.Exif()
    exif[MAKE], exif[DATE], exif[TURNED] = "a maker", "2026:03:02 09:00:00", 6
    exif.get_ifd(GPS)[2] = (40.0, 42.0, 46.0)
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, format=kind, exif=exif.tobytes())
    return out.getvalue()


def add(tickets: TicketWork, raw: bytes, name: str = "door.jpg", **more: Any) -> Attachment:
    given: dict[str, Any] = {
        "ticket": more.pop("ticket", None) or tickets.ticket(),
        "actor": tickets.driver,
        "now": clock(10),
    }
    return attachments.add(name=name, raw=raw, **(given | more))


@pytest.mark.parametrize(
    ("kind", "media_type", "name"),
    [
        ("JPEG", "image/jpeg", "door.jpg"),
        ("PNG", "image/png", "door.png"),
        ("WEBP", "image/webp", "door.webp"),
    ],
)
def test_a_picture_keeps_its_pixels_and_nothing_else(kind: str, media_type: str, name: str) -> None:
    raw = picture(kind)
    with Image.open(io.BytesIO(raw)) as before:
        assert before.getexif()[MAKE] == "a maker"
    kept = pictures.cleaned("door.exe", raw, pdf=False)
    assert (kept.media_type, kept.name) == (media_type, name)
    assert b"a maker" not in kept.raw
    with Image.open(io.BytesIO(kept.raw)) as after:
        assert after.format == kind
        assert not after.getexif()
        assert after.size == (40, 60), "turned as the camera said"
        near = after.convert("RGB").getpixel((20, 30))
        assert near == pytest.approx((0, 128, 128), abs=6)


def test_a_large_picture_is_made_smaller() -> None:
    kept = pictures.cleaned("wide.png", picture("PNG", (4000, 1000)), pdf=False)
    with Image.open(io.BytesIO(kept.raw)) as after:
        assert max(after.size) == pictures.LONGEST_SIDE_PX


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b"", "empty_file"),
        (b"x" * (pictures.LARGEST_BYTES + 1), "file_too_large"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "file_type"),
        (b"GIF89a" + b"\0" * 40, "file_type"),
        (picture()[:200], "file_type"),
        (PDF, "file_type"),
    ],
)
def test_what_is_not_taken_from_the_public(raw: bytes, code: str) -> None:
    with pytest.raises(Unacceptable) as refused:
        pictures.cleaned("door.jpg", raw, pdf=False)
    assert refused.value.code == code
    assert list(refused.value.fields) == ["file"]


def test_a_picture_that_would_fill_the_memory_is_not_unpacked() -> None:
    out = io.BytesIO()
    Image.new("1", (9000, 9000)).save(out, format="PNG")
    assert len(out.getvalue()) < 100_000
    with pytest.raises(Unacceptable) as refused:
        pictures.cleaned("bomb.png", out.getvalue(), pdf=False)
    assert refused.value.code in {"pixels", "file_type"}


@given(
    raw=st.binary(min_size=1, max_size=300), head=st.sampled_from([b"", b"\xff\xd8\xff", b"RIFF"])
)
def test_bytes_at_random_are_refused_in_words(raw: bytes, head: bytes) -> None:
    with pytest.raises(Unacceptable) as refused:
        pictures.cleaned("x", head + raw, pdf=False)
    assert refused.value.code == "file_type"


@given(name=st.text(max_size=200))
def test_a_name_is_harmless(name: str) -> None:
    kept = pictures.cleaned(name, PDF, pdf=True).name
    assert kept.endswith(".pdf")
    assert len(kept) <= 100
    assert not set(kept) & set('/\\"<>\r\n;')


@pytest.mark.django_db
def test_added_seen_and_removed(tickets: TicketWork, other_driver: Person) -> None:
    row = tickets.ticket()
    one = add(tickets, picture(), "C:\\fakepath\\door.jpg", ticket=row)
    assert (one.name, one.media_type, one.size) == ("door.jpg", "image/jpeg", len(one.raw))
    assert add(tickets, picture(), ticket=row) == one, "the same file once more"
    assert add(tickets, PDF, "offer.pdf", ticket=row).media_type == "application/pdf"
    assert tickets.verbs(row) == ["report", "attach", "attach"]
    entry = AuditEntry.objects.get(verb="add attachment", object_id=one.pk)
    assert "raw" not in entry.after
    with pytest.raises(NotAllowed):
        attachments.remove(attachment=one, reason="x", actor=other_driver, now=clock(11))
    with pytest.raises(Unacceptable):
        attachments.remove(attachment=one, reason="", actor=tickets.driver, now=clock(11))
    attachments.remove(
        attachment=one, reason="a face is in it", actor=tickets.dispatcher, now=clock(11)
    )
    assert row.attachments.count() == 1
    assert row.events.order_by("-pk")[0].said == "door.jpg removed: a face is in it"


@pytest.mark.django_db
def test_ten_are_enough(tickets: TicketWork) -> None:
    row = tickets.ticket()
    for shade in range(attachments.MOST):
        add(tickets, picture(colour=(shade * 20, 0, 0)), ticket=row)
    with pytest.raises(Unable) as refused:
        add(tickets, picture(colour="white"), ticket=row)
    assert refused.value.code == "too_many"
