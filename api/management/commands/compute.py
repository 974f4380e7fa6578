"""`manage.py compute fit < question.json`: the business's computations without its database."""

import json
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from api.computations import COMPUTATIONS, BadQuestion, faults_said, help_of

BAD_QUESTION = 2


class Command(BaseCommand):
    """Reads a question in JSON, prints the whole answer in JSON. Units stand in the keys."""

    help = (
        "Answer a question in JSON from standard input, with JSON. "
        "A bad question names each fault by JSON pointer on standard error and exits with 2. "
        "`compute NAME --help` lists what a question holds."
    )
    requires_system_checks = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Each computation has a help of its own, which lists what is asked of it."""
        asked = [word for word in argv[2:] if word in COMPUTATIONS]
        if asked and {"-h", "--help"} & {*argv[2:]}:
            self.stdout.write(help_of(COMPUTATIONS[asked[0]]), ending="")
            return
        super().run_from_argv(argv)

    def add_arguments(self, parser: ArgumentParser) -> None:
        about = "; ".join(f"{one.name}: {one.about}" for one in COMPUTATIONS.values())
        parser.add_argument("computation", choices=sorted(COMPUTATIONS), help=about)
        parser.add_argument(
            "--schema",
            action="store_true",
            help="print the JSON Schemas of the question and the answer instead",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        computation = COMPUTATIONS[options["computation"]]
        if options["schema"]:
            self.stdout.write(json.dumps(computation.schema(), indent=2))
            return
        try:
            answer = computation.ask(sys.stdin.buffer.read())
        except BadQuestion as error:
            self.stderr.write(faults_said(error))
            raise SystemExit(BAD_QUESTION) from error
        self.stdout.write(json.dumps(computation.plain(answer), indent=2, ensure_ascii=False))
