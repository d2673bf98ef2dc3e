"""The figures of a breed's course: Plotly accepts them, lines with whiskers and no area."""

from __future__ import annotations

import json
from typing import Any

import plotly.graph_objects as go
import pytest

from registry.charts import course, figures
from registry.charts.course import AheadPoint, AheadWords, CourseWords, Interval, YearPoint
from registry.charts.figures import AxisWords
from tests.charts.test_figures import every_value

AXES = AxisWords("Year of birth", "Hip laxity")
WORDS = CourseWords(
    record="Mean of tested dogs",
    genes="Mean from genes alone",
    tested="Tested, of 100",
    interval="95 of 100:",
)
YEARS = [
    YearPoint(
        year,
        Interval(0.5 - at / 60, 0.47 - at / 60, 0.53 - at / 60) if at != 3 else None,
        Interval(0.49 - at / 90, 0.46 - at / 90, 0.52 - at / 90),
        tested_of_100=20.0 + 5 * at,
        inbreeding_of_100=2.0 + at / 4,
    )
    for at, year in enumerate(range(2015, 2026))
]
AHEAD = [
    AheadPoint(
        "today" if not at else f"{at}",
        round(0.6 - at / 25, 3),
        round(0.48 - at / 25, 3),
        round(0.72 - at / 25, 3),
        1.5 * at,
    )
    for at in range(9)
]
AHEAD_WORDS = AheadWords(
    mean="mean",
    low="a tenth are tighter",
    high="a tenth are looser",
    inbreeding="Inbreeding, of 100",
    today="middle dog today",
)

FIGURES: dict[str, dict[str, Any]] = {
    "course": course.course(YEARS, axes=AXES, words=WORDS),
    "inbreeding": course.inbreeding(
        YEARS, axes=AxisWords("Year of birth", "Inbreeding, of 100"), name="Mean inbreeding"
    ),
    "ahead": course.ahead(
        AHEAD,
        axes=AxisWords("Generations from now", "Hip laxity"),
        words=AHEAD_WORDS,
        middle=0.6,
    ),
}
EVERY_FIGURE = pytest.mark.parametrize("figure", FIGURES.values(), ids=FIGURES.keys())


@EVERY_FIGURE
def test_plotly_knows_every_property(figure: dict[str, Any]) -> None:
    go.Figure(figure, skip_invalid=False)


@EVERY_FIGURE
def test_it_is_plain_json_of_plain_lists_and_small(figure: dict[str, Any]) -> None:
    text = json.dumps(figure, allow_nan=False)

    assert json.loads(text) == figure
    assert len(text) < 6000


@EVERY_FIGURE
def test_colours_are_the_pages_tokens_and_judge_nothing(figure: dict[str, Any]) -> None:
    used = {value for value in every_value(figure) if value.startswith(("#", "rgb"))}

    assert used <= {figures.OWN, figures.OTHER, figures.ACCENT, figures.CLEAR}


@EVERY_FIGURE
def test_no_area_is_filled(figure: dict[str, Any]) -> None:
    assert all("fill" not in trace for trace in figure["data"])
    assert "shapes" not in figure["layout"]
    assert "annotations" not in figure["layout"]
    bars = [trace for trace in figure["data"] if trace["type"] == "bar"]
    assert all(bar["marker"]["color"] == figures.CLEAR for bar in bars)


def test_lines_differ_in_dash_and_marker_and_not_in_colour_alone() -> None:
    for name in ("course", "ahead"):
        lines = [trace for trace in FIGURES[name]["data"] if trace["type"] == "scatter"]
        looks = {(line["line"]["dash"], line["mode"], line["marker"]["symbol"]) for line in lines}
        assert len(looks) == len(lines)


def test_whiskers_reach_the_ends_of_the_interval() -> None:
    genes = FIGURES["course"]["data"][1]

    assert genes["y"][0] == 0.49
    assert genes["error_y"]["array"][0] == pytest.approx(0.03)
    assert genes["error_y"]["arrayminus"][0] == pytest.approx(0.03)
    assert genes["customdata"][0] == [0.46, 0.52]


def test_a_year_of_too_few_dogs_is_a_gap_and_its_share_tested_is_still_shown() -> None:
    record, _, tested = FIGURES["course"]["data"]

    assert record["y"][3] is None
    assert record["error_y"]["array"][3] is None
    assert record["connectgaps"] is False
    assert tested["y"][3] == 35


def test_shares_are_shown_on_their_whole_scale() -> None:
    assert FIGURES["course"]["layout"]["yaxis2"]["range"] == [0, 100]


def test_inbreeding_begins_at_none() -> None:
    assert FIGURES["inbreeding"]["layout"]["yaxis"]["rangemode"] == "tozero"
    assert FIGURES["ahead"]["layout"]["yaxis2"]["rangemode"] == "tozero"


def test_todays_middle_dog_stays_where_it_is() -> None:
    today = next(t for t in FIGURES["ahead"]["data"] if t["name"] == "middle dog today")

    assert set(today["y"]) == {0.6}
    assert len(today["y"]) == len(AHEAD)
