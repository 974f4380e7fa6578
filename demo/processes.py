"""Processes that the demo starts, watches and stops, leaving none behind."""

import os
import signal
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

LONGEST_GOODBYE_S = 20
LINES_SHOWN = 25


class Stopped(Exception):
    """Somebody asked the demo to stop: ctrl-C, a closed terminal or a plain kill."""


class UnableToRun(Exception):
    """The demo cannot run; the message says what, where and what would be right."""


@dataclass(frozen=True)
class Process:
    """One running part of the service, with the file its output goes to."""

    name: str
    handle: subprocess.Popen[bytes]
    log: Path

    def check(self) -> None:
        """Raise UnableToRun with the end of its output when it is no longer there."""
        if self.handle.poll() is not None:
            raise UnableToRun(
                f"The {self.name} ended by itself (exit code {self.handle.returncode}).\n"
                f"{tail(self.log)}\nAll of its output is in {self.log}"
            )

    def has_said(self, words: str) -> bool:
        """Whether its output so far holds these words."""
        return words in self.log.read_text(errors="replace")


@contextmanager
def stopped_by_signals() -> Iterator[None]:
    """In the block, the first request to stop is raised as Stopped; later ones are ignored."""
    asked = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

    def stop(*_: object) -> None:
        for number in asked:
            signal.signal(number, signal.SIG_IGN)
        raise Stopped

    before = {number: signal.signal(number, stop) for number in asked}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def running(
    name: str, command: Sequence[str], *, env: Mapping[str, str], cwd: Path, log: Path
) -> Iterator[Process]:
    """A process and its children, in a session of their own, until the block ends.

    Of its own, or ctrl-C would reach it directly and all parts would stop at once, in no order.
    """
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("wb") as said:
        handle = subprocess.Popen(
            command,
            env=dict(env),
            cwd=cwd,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        yield Process(name, handle, log)
    finally:
        _stop(handle)


def run(command: Sequence[str], *, env: Mapping[str, str], cwd: Path, what: str) -> str:
    """One step to its end. Returns what it said; raises UnableToRun with that when it fails."""
    with subprocess.Popen(
        command,
        env=dict(env),
        cwd=cwd,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
        text=True,
    ) as step:
        try:
            said, _ = step.communicate()
        except BaseException:
            _stop(step)
            raise
    if step.returncode:
        raise UnableToRun(f"Could not {what}:\n{said.strip()}")
    return said.strip()


def tail(path: Path) -> str:
    """The last lines of a file of output."""
    return "\n".join(path.read_text(errors="replace").splitlines()[-LINES_SHOWN:])


def _stop(handle: "subprocess.Popen[bytes] | subprocess.Popen[str]") -> None:
    handle.terminate()
    try:
        handle.wait(LONGEST_GOODBYE_S)
    except subprocess.TimeoutExpired:
        handle.kill()
        handle.wait()
    # A worker whose parent was cut down is still in the session that the parent led.
    with suppress(ProcessLookupError):
        os.killpg(handle.pid, signal.SIGKILL)
