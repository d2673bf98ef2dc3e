"""Log lines are JSON, carry the request's id, and leave out what people typed."""

import json
import logging
import sys
from typing import Any

from registry.logs import JsonLines, current_request_id


def _line(message: str, *arguments: object, error: BaseException | None = None) -> dict[str, Any]:
    """Return the fields of one formatted line."""
    error_info = (type(error), error, error.__traceback__) if error else None
    record = logging.LogRecord(
        "registry.desk", logging.ERROR, __file__, 1, message, arguments, error_info
    )
    fields: dict[str, Any] = json.loads(JsonLines().format(record))
    return fields


def test_a_line_says_when_what_and_how_bad() -> None:
    line = _line("mail %s not sent", 7)

    assert line["message"] == "mail 7 not sent"
    assert line["level"] == "error"
    assert line["logger"] == "registry.desk"
    assert line["at"].endswith("+00:00")


def test_it_names_the_request() -> None:
    token = current_request_id.set("request-0001")

    line = _line("something")

    current_request_id.reset(token)
    assert line["request"] == "request-0001"
    assert "request" not in _line("something")


def test_a_private_link_and_search_words_are_left_out() -> None:
    line = _line("Internal Server Error: %s", "/owner/eyJhIjoxfQ:abc/?q=Juno")

    assert line["message"] == "Internal Server Error: /owner/…/?…"


def test_a_link_to_choose_a_password_is_left_out_whole() -> None:
    line = _line("Internal Server Error: %s", "/welcome/k7w2person/bu9f2g-0123456789abcdef/")

    assert line["message"] == "Internal Server Error: /welcome/…/"


def test_an_exceptions_text_is_left_out_but_its_kind_and_place_stay() -> None:
    try:
        int("Ida Example")
    except ValueError:
        error = sys.exc_info()[1]

    line = _line("failed", error=error)

    assert "Ida" not in json.dumps(line)
    assert line["error"]["kind"] == "builtins.ValueError"
    assert "test_logs.py" in line["error"]["passed"][-1]
