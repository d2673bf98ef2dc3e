"""Log lines: one JSON object each, on standard error, without personal data.

Messages are written by our own code and name ids, never people. The text of an
exception can carry a value somebody typed (databases quote the offending key),
so of an exception only its kind and the places it passed are kept.
"""

import json
import logging
import re
import traceback
from contextvars import ContextVar
from datetime import UTC, datetime

# Set by the middleware, so that every line of one request can be found again.
current_request_id: ContextVar[str] = ContextVar("current_request_id", default="")

# Private links and search words: the path is logged when a page fails.
_PRIVATE = re.compile(r"(/owner/|/welcome/)[^\s?]*[^\s?/]|(\?)\S+")


class JsonLines(logging.Formatter):
    """Format a record as one line of JSON: at, level, logger, message, request, error."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line; values that JSON does not know are written as text."""
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": _PRIVATE.sub(r"\1\2…", record.getMessage()),
        }
        if request_id := current_request_id.get():
            line["request"] = request_id
        if record.exc_info and record.exc_info[1] is not None:
            line["error"] = _error(record.exc_info[1])
        # In ASCII, since some readers of logs take U+2028 or U+0085 for the end of a line.
        return json.dumps(line, default=str)


def _error(error: BaseException) -> dict[str, object]:
    """Return the kind of an exception and the places it passed, innermost last."""
    frames = traceback.extract_tb(error.__traceback__)
    return {
        "kind": f"{type(error).__module__}.{type(error).__qualname__}",
        "passed": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
    }
