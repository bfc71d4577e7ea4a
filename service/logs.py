"""Logs as JSON, one object a line, on standard output; what gunicorn and the service say alike."""

import logging
from datetime import UTC, datetime
from typing import Any

import orjson


class JSONLines(logging.Formatter):
    """Writes a record as one line of JSON; a message that is a dict gives its members."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        at = datetime.fromtimestamp(record.created, UTC)
        line: dict[str, Any] = {"at": at.isoformat(timespec="milliseconds"), "level": record.levelname.lower()}
        if isinstance(record.msg, dict):
            line |= record.msg
        else:
            line |= {"event": "message", "logger": record.name, "message": record.getMessage()}
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return orjson.dumps(line, default=str).decode()


def configuration(level: str) -> dict[str, Any]:
    """Return what ``logging.config.dictConfig`` takes."""
    to_stdout = {"level": level.upper(), "handlers": ["stdout"], "propagate": False}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": {"()": JSONLines}},
        "handlers": {"stdout": {"class": "logging.StreamHandler", "stream": "ext://sys.stdout", "formatter": "json"}},
        "root": {"level": level.upper(), "handlers": ["stdout"]},
        "loggers": {"gunicorn.error": to_stdout, "gunicorn.access": {**to_stdout, "handlers": []}},
    }
