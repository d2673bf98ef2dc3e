"""The hundred circles and the columns: their counts add up, the own one stands out, no band."""

import re

import pytest

from registry.charts.columns import ColumnLabels, columns
from registry.charts.frame import PLOT, TooFewDogsError
from registry.charts.hundred import HundredLabels, hundred
from registry.science import dots
from registry.science.distribution import Histogram
from registry.science.standing import standing
from tests.charts.shapes import SHAPES, SVG, Shape, counts_of, dots_of, drawing
from tests.charts.test_heap import shapes_wider_than

EVERY_SHAPE = pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
WORDS = ColumnLabels(
    title="How many dogs have which value",
    description="Columns from tight to loose.",
    value=lambda step: f"{step / 100:.2f}",
    count=str,
    own="Juno",
)


class TestHundred:
    @pytest.mark.parametrize(
        ("counts", "drawn"),
        [
            ((24, 1, 75), {"better": 24, "own": 1, "worse": 75}),
            ((24, 6, 70), {"better": 24, "own": 1, "same": 5, "worse": 70}),
            ((0, 100, 0), {"own": 1, "same": 99}),
            ((30, 0, 70), {"better": 30, "own": 1, "worse": 69}),
            ((100, 0, 0), {"better": 99, "own": 1}),
        ],
    )
    def test_a_hundred_circles_are_drawn_and_one_is_the_own(
        self, counts: tuple[int, int, int], drawn: dict[str, int]
    ) -> None:
        svg = hundred(counts, labels=HundredLabels("24 of 100", ""), ident="a")

        assert counts_of(svg) == drawn

    @EVERY_SHAPE
    def test_real_standings_fill_a_hundred(self, shape: Shape) -> None:
        place = standing(Histogram.of_steps(shape.steps), shape.own, "lower")
        better, worse = (100 * count // place.n for count in (place.better, place.worse))

        svg = hundred(
            (better, 100 - better - worse, worse), labels=HundredLabels("t", "d"), ident="a"
        )

        assert len(dots_of(svg)) == 100
        assert len({dot.radius for dot in dots_of(svg)}) == 1
        assert shapes_wider_than(svg, 0.15 * PLOT) == []


class TestColumns:
    @EVERY_SHAPE
    def test_every_dog_is_in_one_column_and_the_counts_say_so(self, shape: Shape) -> None:
        drawn = drawing(columns(shape.heap().columns, labels=WORDS, ident="a", better="lower"))

        counts = [int(t.text or "") for t in drawn.findall(f"{SVG}text[@class='axis']")]
        bars = [p for p in drawn.findall(f"{SVG}path") if "column" in (p.get("class") or "")]
        assert sum(counts) == len(shape.steps)
        assert len(bars) == len(counts) <= 10
        assert [bar.get("class") for bar in bars].count("column-own") == 1

    @EVERY_SHAPE
    def test_columns_are_upright_narrow_and_unfilled(self, shape: Shape) -> None:
        svg = columns(shape.heap().columns, labels=WORDS, ident="a", better="lower")

        assert shapes_wider_than(svg, 0.15 * PLOT) == []
        assert re.findall(r'class="column" fill="(?!none)', svg) == []
        assert 'class="column-own" fill="url(#a-h)"' in svg
        assert "style" not in svg

    @EVERY_SHAPE
    def test_the_own_column_holds_the_own_value(self, shape: Shape) -> None:
        joined = columns(shape.heap().columns, labels=WORDS, ident="a", better="lower")

        assert "Juno" in joined
        assert joined.index("column-own") < joined.index("heap-name")

    def test_heights_are_in_proportion_to_the_dogs(self) -> None:
        table = dots.heap(Histogram.of_counts({1: 40, 2: 20, 3: 10}), None, "lower").columns

        svg = columns(table, labels=WORDS, ident="a", better="lower")

        heights = [float(h) for h in re.findall(r'class="column"[^>]* d="M[\d. ]+v-([\d.]+)', svg)]
        assert heights == [heights[0], heights[0] / 2, heights[0] / 4]

    def test_under_twenty_dogs_there_are_no_columns(self) -> None:
        table = dots.heap(Histogram.of_steps([30] * 19), None, "lower").columns

        with pytest.raises(TooFewDogsError):
            columns(table, labels=WORDS, ident="a", better="lower")
