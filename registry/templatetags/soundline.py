"""Filters and tags of the parts: shapes, states, dates, numbers in words. No queries, no rules."""

from __future__ import annotations

import datetime as dt

from django import template
from django.core.paginator import Page

from registry.models import Evaluation
from registry.queries import reading_words
from registry.science.microchip import in_groups
from registry.science.numbers import format_number
from registry.web.shapes import NOTICES, SHAPES, STATES
from registry.wording import breeding, dates
from registry.wording import cautions as caution_words

register = template.Library()


@register.filter
def shape_path(name: str) -> str:
    """The path data of a shape; an unknown name is an error, not an empty drawing."""
    return SHAPES[name]


@register.filter
def thousands(number: int) -> str:
    """A count as all pages write it: ``1,862``."""
    return f"{number:,}"


@register.filter
def state_word(state: str) -> str:
    """The word of a state."""
    return str(STATES[state].word)


@register.filter
def state_path(state: str) -> str:
    """The path data of a state's shape."""
    return SHAPES[STATES[state].shape]


@register.filter
def state_tone(state: str) -> str:
    """The class that goes with a state."""
    return STATES[state].tone


def _notice(kind: str | None) -> tuple[object, str]:
    return NOTICES.get((kind or "").split(" ")[-1], NOTICES["info"])


@register.filter
def notice_word(kind: str | None) -> str:
    """The first line of a notice that brings none of its own."""
    return str(_notice(kind)[0])


@register.filter
def notice_path(kind: str | None) -> str:
    """The path data of a notice's shape."""
    return SHAPES[_notice(kind)[1]]


@register.filter
def day(value: dt.date) -> str:
    """``2 October 2026``."""
    return dates.day(value)


@register.filter
def moment(value: dt.date) -> str:
    """``2 October 2026, 14:05``, or the day alone for a plain date."""
    return dates.moment(value)


@register.filter
def machine_time(value: dt.date) -> str:
    """For the datetime attribute of ``<time>``."""
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="seconds")
    return value.isoformat()


@register.filter
def chip_groups(chip: str) -> str:
    """A chip number in groups that can be read out: ``999 000 000 123 456``."""
    return in_groups(chip)


@register.filter
def page_numbers(page: Page[object]) -> list[int | str]:
    """The numbers to offer around the current page, with the ellipsis where some are left out."""
    return list(page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1))


@register.filter
def is_number(value: int | str) -> bool:
    """Tell a page number from the ellipsis."""
    return isinstance(value, int)


@register.simple_tag
def cautions() -> list[str]:
    """The sentences of ``registry.wording.cautions``."""
    return caution_words.cautions()


@register.simple_tag
def forecast_cautions() -> list[str]:
    """What a forecast does not say: the sentences of ``registry.wording.breeding``."""
    return breeding.forecast_cautions()


@register.filter
def readings_in_words(evaluation: Evaluation) -> list[str]:
    """One line a trait; the readings and their traits are loaded by the page's query."""
    return reading_words.readings_in_words(evaluation.readings.all())


@register.filter
def traits_read(evaluation: Evaluation) -> list[str]:
    """The names of the traits that were read, each once."""
    return list(dict.fromkeys(reading.trait.name for reading in evaluation.readings.all()))


@register.filter
def grouped(number: str) -> str:
    """A certificate number or a reference in groups that can be read out."""
    return format_number(number)
