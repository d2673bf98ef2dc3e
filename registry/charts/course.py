"""Plotly figures of a breed's course by year of birth, and of selection ahead.

Plain dictionaries as those of ``registry.charts.figures``: numbers and finished wording in, lines
with error bars out. No area is filled, and no colour judges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.charts.figures import (
    ACCENT,
    CLEAR,
    OTHER,
    OWN,
    AxisWords,
    Figure,
    base_layout,
    plain_axis,
)

_UPPER = [0.32, 1]
_LOWER = [0, 0.2]


@dataclass(frozen=True)
class Interval:
    """A value and the ends of its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class YearPoint:
    """One year of birth. ``record`` is the mean of the tested dogs; ``genes`` the mean record that
    this year's dogs would have from their genes alone (base + mean breeding value). Each is in the
    trait's unit and None where too few dogs speak. ``tested_of_100`` and ``inbreeding_of_100`` are
    per cent of all its dogs."""

    year: int
    record: Interval | None
    genes: Interval | None
    tested_of_100: float
    inbreeding_of_100: float


@dataclass(frozen=True)
class CourseWords:
    """Names of what is drawn; ``interval`` follows a value, as in "could be between"."""

    record: str
    genes: str
    tested: str
    interval: str


@dataclass(frozen=True)
class AheadPoint:
    """One generation: its wording, its mean record, the records that the middle 80 of 100 dogs lie
    between, and the inbreeding it costs, in per cent."""

    label: str
    mean: float
    low: float
    high: float
    inbreeding_of_100: float


@dataclass(frozen=True)
class AheadWords:
    """Names of what is drawn; ``low`` and ``high`` are the ends of the middle 80 of 100 dogs."""

    mean: str
    low: str
    high: str
    inbreeding: str
    today: str


def course(
    points: Sequence[YearPoint],
    *,
    axes: AxisWords,
    words: CourseWords,
) -> Figure:
    """Draw each year's mean record and mean from genes with intervals, and the share tested."""
    at = [str(point.year) for point in points]
    data = [
        _line(at, [p.record for p in points], words.record, words, OTHER, "dash", "diamond-open"),
        _line(at, [p.genes for p in points], words.genes, words, OWN, "solid", "circle"),
        _columns(at, [p.tested_of_100 for p in points], words.tested),
    ]
    layout = base_layout(axes)
    _stack(layout)
    layout["yaxis2"] |= {"range": [0, 100], "tickvals": [0, 50, 100]}
    return {"data": data, "layout": layout}


def inbreeding(points: Sequence[YearPoint], *, axes: AxisWords, name: str) -> Figure:
    """Draw the mean inbreeding of the dogs born in each year, in per cent."""
    at = [str(point.year) for point in points]
    data = [_steps(at, [p.inbreeding_of_100 for p in points], name, ACCENT, "dot", "square-open")]
    layout = base_layout(axes)
    layout["xaxis"] |= {"type": "category", "tickangle": 0, "nticks": 8}
    layout["yaxis"]["rangemode"] = "tozero"
    layout["showlegend"] = False
    return {"data": data, "layout": layout}


def ahead(
    points: Sequence[AheadPoint],
    *,
    axes: AxisWords,
    words: AheadWords,
    middle: float,
) -> Figure:
    """Draw the mean and the ends of the middle 80 of 100 dogs over generations, and inbreeding.

    ``middle`` is the breed's middle dog today, drawn as a thin line of its own.
    """
    at = [point.label for point in points]
    data = [
        _steps(at, [p.high for p in points], words.high, OTHER, "dash", "triangle-up-open"),
        _steps(at, [p.mean for p in points], words.mean, OWN, "solid", "circle"),
        _steps(at, [p.low for p in points], words.low, OTHER, "dash", "triangle-down-open"),
        _steps(at, [middle for _ in points], words.today, ACCENT, "dot", None),
        _columns(at, [p.inbreeding_of_100 for p in points], words.inbreeding),
    ]
    layout = base_layout(axes)
    _stack(layout)
    return {"data": data, "layout": layout}


def _line(
    at: list[str],
    values: Sequence[Interval | None],
    name: str,
    words: CourseWords,
    colour: str,
    dash: str,
    symbol: str,
) -> Figure:
    """Return a line with whiskers; a year without a value is a gap."""
    line = _steps(
        at, [None if each is None else each.value for each in values], name, colour, dash, symbol
    )
    line["error_y"] = {
        "type": "data",
        "symmetric": False,
        "array": [each and round(each.high - each.value, 6) for each in values],
        "arrayminus": [each and round(each.value - each.low, 6) for each in values],
        "color": colour,
        "thickness": 1.2,
        "width": 3,
    }
    line["customdata"] = [each and [each.low, each.high] for each in values]
    line["hovertemplate"] = (
        "%{x}: %{y}<br>"
        + words.interval
        + " %{customdata[0]}–%{customdata[1]}<extra>%{fullData.name}</extra>"
    )
    return line


def _steps(
    at: list[str],
    values: Sequence[float | None],
    name: str,
    colour: str,
    dash: str,
    symbol: str | None,
) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines+markers" if symbol else "lines",
        "name": name,
        "x": at,
        "y": list(values),
        "line": {"color": colour, "dash": dash, "width": 2.5 if dash == "solid" else 1.5},
        "marker": {"color": colour, "symbol": symbol or "circle", "size": 8},
        "connectgaps": False,
        "hovertemplate": "%{x}: %{y}<extra>%{fullData.name}</extra>",
    }


def _columns(at: list[str], values: Sequence[float], name: str) -> Figure:
    return {
        "type": "bar",
        "name": name,
        "x": at,
        "y": list(values),
        "yaxis": "y2",
        "marker": {"color": CLEAR, "line": {"color": OTHER, "width": 1}},
        "hovertemplate": "%{x}: %{y}<extra>%{fullData.name}</extra>",
    }


def _stack(layout: Figure) -> None:
    """Give the upper panel most of the height; the legend names what the lower one shows."""
    layout["xaxis"] |= {"type": "category", "anchor": "y2", "tickangle": 0, "nticks": 8}
    layout["yaxis"] |= {"domain": _UPPER}
    layout["yaxis2"] = plain_axis("") | {"domain": _LOWER, "nticks": 3, "rangemode": "tozero"}
