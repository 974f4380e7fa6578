"""Put the invented business, its audit files and its books into a service nobody has used yet.

    python -m demo.load [--until DATE] [--weeks N]

A service in which somebody works already is left as it is.
"""

from __future__ import annotations

import argparse
import gc
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from decimal import Decimal
from itertools import groupby
from zoneinfo import ZoneInfo

from django.db import transaction

from demo import night
from demo.banked import Banked
from demo.beside import beside
from demo.books import Books, is_empty
from demo.business import marrowby
from demo.business.people import EAST
from demo.business.today import today
from demo.carded import Carded
from demo.desk import Desk
from demo.hosted import Hosted
from demo.measured import Measured
from demo.mended import Mended
from demo.night import said
from demo.owed import Owed
from demo.past import Past
from demo.recalled import Recalled
from demo.simulator import SimulatedFile, simulate_with_truth
from demo.simulator.truth import Truth
from demo.standing import Standing
from demo.taxed import Taxed
from demo.upkept import Upkept
from demo.watched import Watched
from demo.workshop import Workshop
from fleet.inventory.models import Movement
from fleet.machines.models import SetUp
from fleet.sales.actions.receive import ReceivedFile, receive
from people.actions import business as desk
from people.models import Business
from service.earnings.actions.settings import change_settings
from service.runs.models import Visit

# The business bears this name until all of it is there: half of it is not taken for the whole.
BEING_LOADED = "{} (being loaded)"
FILES_AT_ONCE = 200
WEEKS = 12


def main(arguments: Sequence[str] | None = None) -> int:
    """Load unless there is something already. Returns the exit code."""
    asked = argparse.ArgumentParser(prog="python -m demo.load", description=__doc__)
    asked.add_argument("--until", type=date.fromisoformat, default=today())
    asked.add_argument("--weeks", type=int, default=WEEKS)
    options = asked.parse_args(arguments)
    if not is_empty():
        return _found()
    started = time.perf_counter()
    business = marrowby(options.until)
    simulated = simulate_with_truth(business, options.until, weeks=options.weeks)
    # All of it stays until the end; collecting garbage would walk over it again and again.
    gc.freeze()
    books = Books(business, datetime.now(UTC), simulated.truth)
    with transaction.atomic():
        books.write_machines()
        standing = Standing(books, datetime.now(UTC))
        standing.write()
        workshop = Workshop(books, standing, _since(options.until, options.weeks))
        workshop.write()
        taxed = Taxed(books, options.until, options.weeks)
        taxed.write()
        hosted = Hosted(books, options.until, options.weeks)
        hosted.agree()
        charge_overheads(books)
        _name(books, BEING_LOADED.format(business.name))
    print(
        f"Wrote {business.name}: {len(business.machines)} machines at {len(business.sites)} sites, "
        f"{len(business.products)} products, in {time.perf_counter() - started:.0f} s",
        flush=True,
    )
    past = Past(books, standing, simulated.truth)
    # Stock knows nothing of audit reads until counts are settled: neither waits for the other.
    with beside(lambda: write_past(past)):
        write_set_ups(books)
        read_and_file(taxed, simulated.files)
    night.reckon(books)
    write_service(books, standing, workshop, simulated.truth, options.until)
    said("Issued", (hosted.state() for _ in "1"), "statements of commission")
    night.plan()
    _name(books, business.name)
    return 0


def charge_overheads(books: Books) -> None:
    """What every machine bears in a month besides its own visits and goods."""
    changes = {"overhead_per_month": Decimal("14.00")}
    change_settings(changes=changes, actor=books.owner, now=datetime.now(UTC))


def _found() -> int:
    """What to do about a business that is there already."""
    if Business.the().name.endswith(BEING_LOADED.format("")):
        print("An earlier load was broken off. Delete the data and start again.", file=sys.stderr)
        return 1
    print("There is a business here already; it is kept as it is.")
    return 0


def _name(books: Books, name: str) -> None:
    desk.change(changes={"name": name}, actor=books.owner, now=datetime.now(UTC))


def write_set_ups(books: Books) -> None:
    """Write what columns were set for."""
    started = time.perf_counter()
    books.write_set_ups()
    print(
        f"Wrote {SetUp.objects.count()} set-ups in {time.perf_counter() - started:.0f} s",
        flush=True,
    )


def write_past(past: Past) -> None:
    """Write what drivers and warehouses did in the simulated weeks."""
    started = time.perf_counter()
    past.write()
    print(
        f"Wrote {Visit.objects.count()} visits and {Movement.objects.count()} movements of stock "
        f"in {time.perf_counter() - started:.0f} s",
        flush=True,
    )


def write_service(
    books: Books, standing: Standing, workshop: Workshop, truth: Truth, until: date
) -> None:
    """What went wrong and was mended, what the numbers suspect, and what is to be done today."""
    mended = Mended(books, standing, workshop, truth, until)
    said("Wrote", (len(mended.write()) for _ in "1"), "closed tickets")
    said("Wrote", (Upkept(books, truth).write() for _ in "1"), "works of maintenance")
    said("Banked", (Banked(books, truth).write() for _ in "1"), "bags of cash")
    said("Took in", (Carded(books, truth, until).write() for _ in "1"), "files of card sales")
    watched = Watched(books, standing, workshop)
    said("Looked, and found", (watched.write().found for _ in "1"), "things that seem wrong")
    said("Left", (Desk(books, standing, workshop).write() for _ in "1"), "tickets open")
    said("Left", (Owed(books, until).write() for _ in "1"), "duties open")
    said("Read temperatures of", (Measured(books).write() for _ in "1"), "machines with fresh food")
    said("Called back what lay in", (Recalled(books).write() for _ in "1"), "machines")


def _since(until: date, weeks: int) -> datetime:
    """The first simulated morning, when stock was counted for the first time."""
    return datetime.combine(until - timedelta(weeks=weeks), clock_time(4), tzinfo=ZoneInfo(EAST))


def read_and_file(taxed: Taxed, files: Iterable[SimulatedFile]) -> None:
    """Read files in up to each return, which is filed as the books stand then, and the rest."""
    steps, left = taxed.steps(), taxed.held_back(files)
    for step in steps:
        read_in(file for file in left if file.delivered_at < step.at)
        left = [file for file in left if file.delivered_at >= step.at]
        said("Filed", (bool(step.does()) for _ in "1"), "return of sales tax")
    read_in(left)


def read_in(files: Iterable[SimulatedFile]) -> Counter[str]:
    """Read files in as they were delivered, in batches, and say what became of them."""
    started, came = time.perf_counter(), Counter[str]()
    for batch in _batches(files):
        outcomes = receive(
            files=[ReceivedFile(file.name, file.data, file.delivered_at) for file in batch],
            source="folder",
            actor=None,
            now=batch[-1].delivered_at,
        )
        came.update(outcome.result.value for outcome in outcomes)
    took = time.perf_counter() - started
    said = ", ".join(f"{count} {result}" for result, count in sorted(came.items()))
    print(f"Read {came.total()} audit files in {took:.0f} s: {said}", flush=True)
    return came


def _batches(files: Iterable[SimulatedFile]) -> Iterator[list[SimulatedFile]]:
    """Files that came on one day together, so that each is received when it was delivered."""
    for _, day in groupby(files, key=lambda file: file.delivered_at.date()):
        delivered = list(day)
        for start in range(0, len(delivered), FILES_AT_ONCE):
            yield delivered[start : start + FILES_AT_ONCE]


if __name__ == "__main__":
    sys.exit(main())
