"""Rows as text that no database leaves its mark on, and back.

A row is one line of JSON: an object with sorted members, named as the columns are. Decimals, days
and instants are text (instants in UTC with microseconds), bytes are base64. The same content gives
the same bytes on every database.
"""

from __future__ import annotations

import base64
import binascii
import json
import math
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.db import models

from registry.archive.inventory import columns_of

_AT_A_TIME = 2_000
# From here on a float has no fraction, and a database that keeps decimals gives it back whole.
_WHOLE_FROM = 1e16


class RowProblem(ValueError):
    """A line that is no row of its model; says why in one sentence."""


def lines(model: type[models.Model]) -> Iterator[bytes]:
    """Every row of the model in the order of its key, a line each, read a few at a time."""
    columns = columns_of(model)
    names = [str(field.attname) for field in columns]
    tellers = [_teller(field) for field in columns]
    rows = model._base_manager.order_by("pk").values_list(*names)
    for row in rows.iterator(chunk_size=_AT_A_TIME):
        told = {
            name: None if value is None else tell(value)
            for name, tell, value in zip(names, tellers, row, strict=True)
        }
        yield canonical(told) + b"\n"


def canonical(value: Any) -> bytes:
    """JSON with sorted names, without spaces, in UTF-8."""
    text = json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return text.encode()


class Reader:
    """Turns lines of one model's file into values for its columns."""

    def __init__(self, model: type[models.Model]) -> None:
        self.columns = columns_of(model)
        self._names = [str(field.attname) for field in self.columns]
        self._takers = [_taker(field) for field in self.columns]

    def values(self, line: bytes) -> list[Any]:
        """The row's values in the order of ``columns``; raises RowProblem."""
        try:
            told = json.loads(line)
        except ValueError as error:
            raise RowProblem("it is not JSON") from error
        if not isinstance(told, dict) or told.keys() != set(self._names):
            raise RowProblem("its columns are not those of its table")
        return [
            self._value(field, take, told[name])
            for field, take, name in zip(self.columns, self._takers, self._names, strict=True)
        ]

    @staticmethod
    def _value(field: Any, take: Callable[[Any], Any], told: Any) -> Any:
        if told is None:
            if not field.null:
                raise RowProblem(f"{field.attname} is empty")
            return None
        try:
            return take(told)
        except (ValueError, TypeError, InvalidOperation, binascii.Error) as error:
            raise RowProblem(f"{field.attname} cannot be read") from error


def _teller(field: Any) -> Callable[[Any], Any]:
    """How the value of a field is told in JSON."""
    target = getattr(field, "target_field", field)
    for kind, tell in _TELLERS:
        if isinstance(target, kind):
            return tell
    raise TypeError(f"an archive cannot hold a {type(target).__name__}")


def _taker(field: Any) -> Callable[[Any], Any]:
    """How a told value becomes the field's again."""
    target = getattr(field, "target_field", field)
    for kind, take in _TAKERS:
        if isinstance(target, kind):
            return take
    raise TypeError(f"an archive cannot hold a {type(target).__name__}")


def _instant(value: datetime) -> str:
    return value.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def _number(value: float) -> float | str:
    """A float; the few that JSON has no number for as words."""
    return value if math.isfinite(value) else str(value)


def _json(value: Any) -> Any:
    """JSON as every database gives it back: numbers in one spelling."""
    if isinstance(value, dict):
        return {name: _json(item) for name, item in value.items()}
    if isinstance(value, list):
        return [_json(item) for item in value]
    if isinstance(value, float):
        if value == 0:
            return 0.0
        return int(value) if abs(value) >= _WHOLE_FROM else value
    return value


def _binary(value: bytes | memoryview) -> str:
    return base64.b64encode(bytes(value)).decode()


def _typed(*kinds: type) -> Callable[[Any], Any]:
    def take(value: Any) -> Any:
        # True is an int to Python, and no number here.
        if type(value) not in kinds:
            raise TypeError
        return value

    return take


def _take_instant(value: str) -> datetime:
    if not value.endswith("Z"):
        raise ValueError(value)
    return datetime.fromisoformat(value)


def _take_bytes(value: str) -> bytes:
    return base64.b64decode(value, validate=True)


def _same(value: Any) -> Any:
    return value


# The first kind that fits decides: an instant is a day to Django, a slug a text.
_TELLERS: tuple[tuple[type[Any], Callable[[Any], Any]], ...] = (
    (models.JSONField, _json),
    (models.BinaryField, _binary),
    (models.DateTimeField, _instant),
    (models.DateField, date.isoformat),
    (models.DecimalField, str),
    (models.FloatField, _number),
    (models.BooleanField, _same),
    (models.IntegerField, _same),
    (models.CharField, _same),
    (models.TextField, _same),
)
_TAKERS: tuple[tuple[type[Any], Callable[[Any], Any]], ...] = (
    (models.JSONField, _same),
    (models.BinaryField, _take_bytes),
    (models.DateTimeField, _take_instant),
    (models.DateField, date.fromisoformat),
    (models.DecimalField, Decimal),
    (models.FloatField, float),
    (models.BooleanField, _typed(bool)),
    (models.IntegerField, _typed(int)),
    (models.CharField, _typed(str)),
    (models.TextField, _typed(str)),
)
