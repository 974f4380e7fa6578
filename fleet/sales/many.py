"""Many files at once: dealt out by machine, a batch a transaction, to several processes."""

import gc
import multiprocessing
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from typing import Final
from zlib import crc32

from django.db import connections

from .actions.receive import ReceivedFile, receive
from .files import FoundFile, machine_mark
from .outcome import Outcome

#: Files a transaction: enough that its own cost vanishes, few enough that a lock is soon free.
BATCH: Final = 250
#: Below this another process costs more than it saves.
WORTH_A_PROCESS: Final = 200

_Dealt = list[tuple[int, FoundFile]]


def receive_many(
    *, files: Sequence[FoundFile], source: str, now: datetime, processes: int = 2
) -> tuple[Outcome, ...]:
    """Take in any number of files; one outcome for each, in their order.

    Each batch stands or falls by itself: what was taken in before an error stays, and taking all
    in again changes nothing about it.
    """
    processes = max(1, min(processes, len(files) // WORTH_A_PROCESS))
    hands: list[_Dealt] = [[] for _ in range(processes)]
    marks = [machine_mark(file.data) for file in files]
    for index in sorted(range(len(files)), key=lambda each: (marks[each], each)):
        hands[crc32(marks[index]) % processes].append((index, files[index]))
    found: dict[int, Outcome] = {}
    if processes == 1:
        found.update(_receive_hand(hands[0], source, now))
    else:
        # A connection must not be shared with a child.
        connections.close_all()
        context = multiprocessing.get_context("fork")
        with ProcessPoolExecutor(processes, mp_context=context) as pool:
            jobs = [pool.submit(_receive_hand, hand, source, now) for hand in hands]
            for job in jobs:
                found.update(job.result())
    return tuple(found[index] for index in range(len(files)))


@contextmanager
def _without_cycle_collection() -> Iterator[None]:
    """Python's search for cycles, held off: what a batch makes has none, and it is a lot.

    Looking through it again and again takes a third of the time of reading files in.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@_without_cycle_collection()
def _receive_hand(hand: _Dealt, source: str, now: datetime) -> dict[int, Outcome]:
    found: dict[int, Outcome] = {}
    for start in range(0, len(hand), BATCH):
        batch = hand[start : start + BATCH]
        outcomes = receive(
            files=[ReceivedFile(file.name, file.data, file.received_at) for _, file in batch],
            source=source,
            actor=None,
            now=now,
        )
        found.update(zip((index for index, _ in batch), outcomes, strict=True))
    return found
