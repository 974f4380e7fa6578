"""Put the invented business and its audit files into a service that nobody has used yet.

    python -m demo.load [--until DATE] [--weeks N]

A service in which somebody works already is left as it is.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from itertools import groupby

from demo.books import Books, is_empty
from demo.business import marrowby
from demo.simulator import SimulatedFile, simulate
from fleet.sales.actions.receive import ReceivedFile, receive

FILES_AT_ONCE = 200
WEEKS = 12


def main(arguments: Sequence[str] | None = None) -> int:
    """Load unless there is something already. Returns the exit code."""
    asked = argparse.ArgumentParser(prog="python -m demo.load", description=__doc__)
    asked.add_argument("--until", type=date.fromisoformat, default=datetime.now(UTC).date())
    asked.add_argument("--weeks", type=int, default=WEEKS)
    options = asked.parse_args(arguments)
    if not is_empty():
        print("There is a business here already; it is kept as it is.")
        return 0
    started = time.perf_counter()
    business = marrowby(options.until)
    Books(business, datetime.now(UTC)).write()
    print(
        f"Wrote {business.name}: {len(business.machines)} machines at {len(business.sites)} sites, "
        f"{len(business.products)} products, in {time.perf_counter() - started:.0f} s",
        flush=True,
    )
    read_in(simulate(business, options.until, weeks=options.weeks))
    return 0


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
