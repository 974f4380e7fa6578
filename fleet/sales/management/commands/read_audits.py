"""`manage.py read_audits PATH…`: take in audit files, or only say what they say."""

import json
import sys
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from fleet.sales import dry_run
from fleet.sales.files import NoSuchPath, find_files

BAD_PATH = 2


class Command(BaseCommand):
    """Takes in the audit files of the paths, or with --dry-run says what they say.

    A dry run needs no database, no broker and no setting.
    """

    help = (
        "Take in audit files from files, folders and zip archives; a file arrived when it was last "
        "written. The same file twice changes nothing."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("paths", nargs="*", type=Path, metavar="PATH")
        parser.add_argument("--json", action="store_true", help="print JSON")
        parser.add_argument(
            "--dry-run", action="store_true", help="say what the files say and keep nothing"
        )
        parser.add_argument(
            "--segments", action="store_true", help="with --dry-run --json: every line as well"
        )
        parser.add_argument(
            "--schema",
            action="store_true",
            help="print the JSON Schema of what --dry-run --json prints instead",
        )
        parser.add_argument(
            "--processes", type=int, default=2, help="how many at once, for many files (2)"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        if options["schema"]:
            self.stdout.write(json.dumps(dry_run.schema(), indent=2))
            return
        if not options["paths"]:
            self._stop("name at least one file, folder or zip archive")
        try:
            files = list(find_files(options["paths"]))
        except (NoSuchPath, OSError) as error:
            self._stop(str(error))
        if options["dry_run"]:
            self._print(
                dry_run.as_json(files, segments=options["segments"])
                if options["json"]
                else dry_run.as_text(files)
            )
            return
        # Not at the top: a dry run has no database, and then no model can be loaded.
        from fleet.sales.many import receive_many  # noqa: PLC0415

        outcomes = receive_many(
            files=files, source="command", now=timezone.now(), processes=options["processes"]
        )
        if options["json"]:
            plain = [outcome.plain() for outcome in outcomes]
            self.stdout.write(json.dumps(plain, indent=2, ensure_ascii=False))
            return
        for outcome in outcomes:
            self.stdout.write(f"{outcome.name}: {outcome.said}")
        counted = Counter(str(outcome.result) for outcome in outcomes)
        told = ", ".join(f"{count} {result}" for result, count in sorted(counted.items()))
        self.stdout.write(f"{len(outcomes)} files: {told or 'nothing'}")

    def _print(self, pieces: Iterable[str]) -> None:
        for piece in pieces:
            self.stdout.write(piece, ending="")

    def _stop(self, message: str) -> None:
        self.stderr.write(message)
        sys.exit(BAD_PATH)
