"""Which processes still work on a folder, by Linux's own list of them."""

import os
import time
from pathlib import Path

LONGEST_WAIT_S = 30


def running_on(folder: Path) -> list[str]:
    """The command lines of all processes that name a folder in their command, place or environment.

    A process that is dead and only waits to be collected has none of the three.
    """
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit() or int(entry.name) == os.getpid():
            continue
        try:
            command = (entry / "cmdline").read_bytes()
            environment = (entry / "environ").read_bytes()
            place = os.fsencode((entry / "cwd").readlink())
        except OSError:
            continue  # it ended while we looked, or is not ours to look at
        if any(os.fsencode(folder) in text for text in (command, environment, place)):
            found.append(command.replace(b"\0", b" ").decode())
    return found


def wait_until_nothing_runs_on(folder: Path) -> None:
    """Fail when a process still works on the folder after a fair time to end."""
    deadline = time.monotonic() + LONGEST_WAIT_S
    while running_on(folder) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert running_on(folder) == []
