"""Prove that what the service says it holds is what the ledger adds up to."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.inventory.queries.check import check_stock


class Command(BaseCommand):
    help = "Check that stock levels are what the ledger adds up to; says what is not, and fails."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--quiet", action="store_true", help="Say nothing when all is well.")

    def handle(self, *_: Any, **options: Any) -> None:
        found = check_stock()
        for fault in found.faults:
            self.stdout.write(f"{fault.code}: {fault.said}")
        if found.faults:
            raise CommandError(f"{len(found.faults)} faults in the stock's books", returncode=1)
        if not options["quiet"]:
            self.stdout.write(
                f"The books balance: {found.movements} movements, {found.lines} lines, "
                f"{found.levels} levels."
            )
