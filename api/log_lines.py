"""The service's log: one JSON object a line on standard error, without secrets or contents."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Any, TextIO

NAME = "dipstep"


class JsonLine(logging.Formatter):
    """Writes a record as one line of JSON; what was asked comes as the record's `facts`."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        told: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "log": record.name,
            "message": record.getMessage(),
            **getattr(record, "facts", {}),
        }
        if record.exc_info:
            told["trace"] = self.formatException(record.exc_info)
        return json.dumps(told)


def write_to(stream: TextIO) -> None:
    """Write the service's log to this stream from now on."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLine())
    ours = logging.getLogger(NAME)
    ours.handlers = [handler]
    ours.setLevel(logging.INFO)
    ours.propagate = False
