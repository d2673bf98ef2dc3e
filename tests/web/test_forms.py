"""Dates and numbers as people write them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from registry.web.forms import PlainDecimalField, PlainForm, parse_day


@pytest.mark.parametrize(
    "text",
    ["2 October 2026", "2 oct 2026", "October 2, 2026", "2nd October 2026", "2026-10-02",
     "2026/10/2", "20261002", " 2\u00a0Oct. 2026 ", "２ October ２０２６"],
)  # fmt: skip
def test_a_date_is_read_in_any_form_that_has_one_meaning(text: str) -> None:
    assert parse_day(text) == date(2026, 10, 2)


@pytest.mark.parametrize("text", ["13/10/2026", "10/13/2026", "13.10.2026"])
def test_a_number_above_twelve_can_only_be_the_day(text: str) -> None:
    assert parse_day(text) == date(2026, 10, 13)


def test_a_date_with_two_readings_is_refused_and_both_are_named() -> None:
    with pytest.raises(ValidationError, match="2 October 2026 or 10 February 2026"):
        parse_day("2/10/2026")


@pytest.mark.parametrize(
    "text", ["", "yesterday", "2 ju 2026", "31 February 2026", "2.10.26", "1 2 3 4", "0000-01-01"]
)
def test_what_is_no_date_is_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        parse_day(text)


@pytest.mark.parametrize("text", ["12,5", "12.5", " 12,5 ", "１２．５"])
def test_comma_and_point_both_part_the_decimals(text: str) -> None:
    assert PlainDecimalField().clean(text) == Decimal("12.5")


@pytest.mark.parametrize("text", ["1,234.5", "12..5", "NaN", "Infinity", "12 kg"])
def test_what_is_no_plain_number_is_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        PlainDecimalField().clean(text)


def test_a_missing_answer_is_named() -> None:
    class Form(PlainForm):
        weight = PlainDecimalField(label="Weight")

    assert Form({}).errors["weight"] == ["Fill in “Weight”."]
