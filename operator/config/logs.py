"""Structured logs: one line an event, JSON in production, with the request's id on every line."""

import logging
import logging.config
from typing import Any

import structlog
from structlog.typing import Processor

SHARED: list[Processor] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
    structlog.processors.StackInfoRenderer(),
]


def configure(*, level: str, style: str) -> None:
    """Send every logger through one handler. `style` is json or text."""
    logging.config.dictConfig(configuration(level=level, style=style))
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *SHARED,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )


def configuration(*, level: str, style: str) -> dict[str, Any]:
    """The same for a program that configures logging itself, in the standard library's own form."""
    ending: list[Processor] = [
        structlog.dev.ConsoleRenderer(
            colors=False,
            # The pretty one prints every local variable, passwords among them, and takes seconds.
            exception_formatter=structlog.dev.plain_traceback,
        )
    ]
    if style == "json":
        ending = [structlog.processors.format_exc_info, structlog.processors.JSONRenderer()]
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "structured": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": SHARED,
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    *ending,
                ],
            }
        },
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "structured"}},
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": {
            "django.server": {"handlers": [], "propagate": False},
            "axes": {"level": "ERROR"},
            "gunicorn.error": {"handlers": [], "propagate": True, "level": level},
        },
    }
