"""The explorers' figures: Plotly accepts them, people can read them, no verdict colours."""

import json
from typing import Any

import plotly.graph_objects as go
import pytest

from registry.charts import figures
from registry.charts.figures import AxisWords, Spread, SpreadWords, Strata

TIME = AxisWords("Year examined", "Hip laxity")
COUNT = AxisWords("Hip laxity", "Dogs")
WORDS = SpreadWords("a quarter are tighter", "half are tighter", "a quarter are looser", "Dogs")
YEARS = [
    Spread(str(year), f"{year}", 40 + year % 7, 0.31, 0.42 - (year - 2017) / 200, 0.5)
    for year in range(2017, 2026)
] + [Spread("2026", "2026", 3, None, None, None)]
CLINICS = [
    Spread("Harbour Lane", "Harbour Lane, Netherby", 210, 0.31, 0.41, 0.5),
    Spread("Fell View", "Fell View, Overby", 12, 0.4, 0.7, 0.9),
    Spread("New", "New", 2, None, None, None),
]
STEPS = [round(0.14 + at / 50, 2) for at in range(30)]
DOGS = [min(at, 29 - at) * 3 for at in range(30)]

FIGURES: dict[str, dict[str, Any]] = {
    "years": figures.over_time(YEARS, axes=TIME, words=WORDS),
    "sexes": figures.by_stratum(
        [Strata("Bitches", STEPS, DOGS), Strata("Dogs", STEPS, DOGS[3:] + DOGS[:3])],
        axes=COUNT,
        dogs="dogs",
    ),
    "clinics": figures.by_group(CLINICS, axis="Hip laxity", words=WORDS),
    "columns": figures.columns(Strata("All", STEPS, DOGS), axes=COUNT, dogs="dogs", width=0.02),
}
EVERY_FIGURE = pytest.mark.parametrize("figure", FIGURES.values(), ids=FIGURES.keys())


@EVERY_FIGURE
def test_plotly_knows_every_property(figure: dict[str, Any]) -> None:
    go.Figure(figure, skip_invalid=False)


@EVERY_FIGURE
def test_it_is_plain_json_of_plain_lists_and_small(figure: dict[str, Any]) -> None:
    text = json.dumps(figure, allow_nan=False)

    assert json.loads(text) == figure
    assert "bdata" not in text
    assert '"template"' not in text
    assert len(text) < 5000


@EVERY_FIGURE
def test_colours_are_the_pages_tokens_and_judge_nothing(figure: dict[str, Any]) -> None:
    used = {value for value in every_value(figure) if value.startswith(("#", "rgb"))}

    assert used <= {figures.OWN, figures.OTHER, figures.ACCENT, "rgba(0,0,0,0)"}


def test_lines_differ_in_dash_and_marker_and_not_in_colour_alone() -> None:
    lines = FIGURES["years"]["data"][:3]
    strata = FIGURES["sexes"]["data"]

    assert len({(line["line"].get("dash"), line["marker"]["symbol"]) for line in lines}) == 3
    assert len({line["line"]["dash"] for line in strata}) == 2


def test_a_year_with_too_few_dogs_is_a_gap_and_its_count_is_still_shown() -> None:
    middle, dogs = FIGURES["years"]["data"][1], FIGURES["years"]["data"][3]

    assert middle["y"][-1] is None
    assert middle["connectgaps"] is False
    assert dogs["y"][-1] == 3


def test_a_clinic_with_too_few_dogs_has_no_row_and_the_others_keep_their_order() -> None:
    (clinics,) = FIGURES["clinics"]["data"]

    assert clinics["y"] == ["Harbour Lane", "Fell View"]
    assert clinics["x"] == [0.41, 0.7]
    assert clinics["error_x"]["array"] == [0.09, 0.2]
    assert clinics["error_x"]["arrayminus"] == [0.1, 0.3]
    assert clinics["customdata"] == [210, 12]


@EVERY_FIGURE
def test_nothing_is_drawn_but_the_numbers_of_the_breed(figure: dict[str, Any]) -> None:
    assert "shapes" not in figure["layout"]
    assert "annotations" not in figure["layout"]


def every_value(part: Any) -> list[str]:
    """Return all text values anywhere in a figure."""
    if isinstance(part, dict):
        return [value for each in part.values() for value in every_value(each)]
    if isinstance(part, list):
        return [value for each in part for value in every_value(each)]
    return [part] if isinstance(part, str) else []


def test_grades_of_two_strata_are_columns_that_differ_without_colour() -> None:
    strata = [Strata("Female", [0, 1], [5, 3]), Strata("Male", [0, 1], [4, 4])]

    figure = figures.by_stratum(
        strata, axes=AxisWords("Grade", "Dogs"), dogs="dogs", is_graded=True
    )

    assert [trace["type"] for trace in figure["data"]] == ["bar", "bar"]
    full, empty = (trace["marker"]["color"] for trace in figure["data"])
    assert full != empty == figures.CLEAR
