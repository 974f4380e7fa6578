"""What `manage.py check` and `migrate` say of settings that only the machine can judge."""

import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning, register


@register(deploy=True)
def who_ends_https(**_: Any) -> list[CheckMessage]:
    """Sent on to HTTPS by a process that cannot tell it has come, a visitor goes round for ever."""
    if not settings.SECURE_SSL_REDIRECT or settings.SECURE_PROXY_SSL_HEADER:
        return []
    return [
        Warning(
            "COLONNADE_HTTPS=1 without COLONNADE_PROXY=1: visitors are sent on to HTTPS for ever",
            hint="Set COLONNADE_PROXY=1 for a proxy in front that ends HTTPS and sets "
            "X-Forwarded-Proto; leave it so only if the web process itself ends HTTPS.",
            id="config.W001",
        )
    ]


@register()
def watch_folder(**_: Any) -> list[CheckMessage]:
    """A folder that is watched and not there would lose every audit file without a word."""
    if not settings.WATCH_FOLDER:
        return []
    folder = Path(settings.WATCH_FOLDER)
    if not folder.is_dir():
        wrong = "is not a folder on this machine"
    elif not os.access(folder, os.R_OK | os.X_OK):
        wrong = "cannot be read by the user that the service runs as"
    else:
        return []
    return [
        Error(
            f"COLONNADE_WATCH_FOLDER: {folder} {wrong}",
            hint="Make the folder and let the service's user read it, or leave the setting out.",
            id="config.E001",
        )
    ]
