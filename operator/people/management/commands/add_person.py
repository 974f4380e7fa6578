"""Add somebody who works here: how the first owner of a new service comes in."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from people.actions import people
from people.errors import Unable
from people.roles import Role


class Command(BaseCommand):
    help = "Add a person with roles and a password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")
        parser.add_argument("name")
        parser.add_argument(
            "--role",
            dest="roles",
            action="append",
            required=True,
            choices=Role.values,
            help="May be given several times.",
        )
        parser.add_argument(
            "--password-from-stdin",
            action="store_true",
            help="Read the password from the first line of standard input instead of asking.",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["password_from_stdin"]:
            password = sys.stdin.readline().rstrip("\n")
        else:
            password = getpass.getpass("Password: ")
            if getpass.getpass("Again: ") != password:
                raise CommandError("The two passwords differ; nobody was added.")
        try:
            person = people.add(
                email=options["email"],
                name=options["name"],
                roles=options["roles"],
                password=password,
                actor=None,
                now=timezone.now(),
            )
        except Unable as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"Added {person.name} <{person.email}>: {', '.join(person.roles)}.")
