"""A lot that its supplier calls back: fetched at some machines, not yet at others."""

from __future__ import annotations

import io
from collections import defaultdict
from datetime import timedelta

from PIL import Image, ImageDraw

from demo.books import Books
from fleet.inventory.models import Lot, StockLevel, StockPlace
from fleet.machines.models import Machine
from service.compliance.actions import recalls
from service.compliance.actions.evidence import GivenFile
from service.compliance.models import Recall
from service.runs.models import Run

PRODUCT = "tavish-orange"
OPENED = timedelta(hours=3)
FETCHED = 2
SENT = 3
PICTURE_PX = (640, 480)


class Recalled:
    """Opens a recall of the lot that lies in most machines, and does a part of the work."""

    def __init__(self, books: Books) -> None:
        self._books = books
        self._now = books.now
        self._opened = self._now - OPENED

    def write(self) -> int:
        """How many machines hold, or held, what is called back."""
        product = self._books.products[PRODUCT]
        places: dict[Lot, list[StockPlace]] = defaultdict(list)
        rows = StockLevel.objects.filter(
            product=product, quantity__gt=0, lot__isnull=False, place__kind=StockPlace.Kind.COLUMN
        )
        for row in rows.select_related("lot", "place__column__machine").order_by("pk"):
            if row.lot is not None and row.lot.code:
                places[row.lot].append(row.place)
        if not places:
            return 0
        lot = max(places, key=lambda one: (len(places[one]), one.pk))
        recall = recalls.save(
            changes={
                "product": product,
                "lot_codes": lot.code,
                "reason": "caps that do not close, found by the supplier",
                "reference": "supplier's notice of this morning",
            },
            actor=self._books.owner,
            now=self._opened,
        )
        found = places[lot]
        for number, place in enumerate(found[:FETCHED]):
            self._fetch(recall, place, lot, minutes=40 + 55 * number)
        self._send(recall, [place.column.machine for place in found[FETCHED:] if place.column])
        return len({place.column.machine_id for place in found if place.column})

    def _fetch(self, recall: Recall, place: StockPlace, lot: Lot, *, minutes: int) -> None:
        held = StockLevel.objects.get(place=place, product=recall.product, lot=lot).quantity
        assert place.column is not None  # noqa: S101 - only columns were asked for
        driver = self._books.business.machine(place.column.machine.asset_tag).driver_email
        recalls.remove(
            recall=recall,
            place=place,
            quantity=held,
            lot=lot,
            at=self._opened + timedelta(minutes=minutes),
            file=GivenFile("taken-out.png", _picture(f"{held} x {recall.product} {lot.code}")),
            note="bagged and marked; goes back to the store",
            actor=self._books.people[driver],
            now=self._now,
        )

    def _send(self, recall: Recall, machines: list[Machine]) -> None:
        """On the runs that are out today or go next; whom none of them reaches stays to be sent."""
        run = (
            Run.objects.filter(agreed=True).exclude(state=Run.State.ENDED).order_by("date").first()
        )
        if run is None or not machines:
            return
        recalls.send(
            recall=recall,
            machines=list(dict.fromkeys(machines))[:SENT],
            day=run.date,
            actor=self._books.dispatcher,
            now=self._now,
        )


def _picture(said: str) -> bytes:
    """A plain picture with words on it, where a phone would have taken one."""
    image = Image.new("RGB", PICTURE_PX, "#d8d3c4")
    draw = ImageDraw.Draw(image)
    for row in range(3):
        for place in range(5):
            left, top = 70 + 105 * place, 60 + 120 * row
            draw.rectangle((left, top, left + 70, top + 90), fill="#c9742b", outline="#4a3a2a")
    draw.text((40, PICTURE_PX[1] - 40), said, fill="#1b1b1b")
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
