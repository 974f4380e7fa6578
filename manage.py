#!/usr/bin/env python
"""The command line of the service.

Commands that only compute (`compute …`, `read_audits --dry-run …`) run without a database, a broker
or any setting; everything else reads the full settings.
"""

import os
import sys
from pathlib import Path


def main() -> None:
    sys.path.insert(1, str(Path(__file__).resolve().parent / "operator"))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", settings_for(sys.argv[1:]))

    from django.core.management import execute_from_command_line  # noqa: PLC0415

    execute_from_command_line(sys.argv)


def settings_for(arguments: list[str]) -> str:
    """The settings module that a command line needs."""
    command = arguments[0] if arguments else ""
    only_tells = command == "read_audits" and {"--dry-run", "--schema"} & set(arguments)
    only_computes = command == "compute" or only_tells
    return "config.bare" if only_computes else "config.settings"


if __name__ == "__main__":
    main()
