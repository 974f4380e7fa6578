"""Write the audit files of the invented business to a folder."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path

from demo.business import marrowby
from demo.simulator import DEFAULT_SEED, simulate


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m demo.simulator",
        description="Write the audit files of an invented vending business to a folder.",
    )
    parser.add_argument("folder", type=Path, help="where to write; made if it is not there")
    parser.add_argument(
        "--until",
        type=date.fromisoformat,
        required=True,
        help="the day at whose dawn the last read is made, as in 2026-03-01",
    )
    parser.add_argument("--weeks", type=int, default=12, help="how many weeks before it (12)")
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help="another seed, other luck")
    chosen = parser.parse_args(arguments)
    if chosen.weeks < 1:
        parser.error("--weeks must be one or more")
    chosen.folder.mkdir(parents=True, exist_ok=True)
    count = size = 0
    for file in simulate(marrowby(chosen.until), chosen.until, chosen.weeks, chosen.seed):
        (chosen.folder / file.name).write_bytes(file.data)
        count += 1
        size += len(file.data)
    sys.stdout.write(f"{count} files, {size} bytes, in {chosen.folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
