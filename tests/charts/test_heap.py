"""The heap of circles: its structure, the look it must never have, and what each shape draws."""

import gzip
import re
from dataclasses import replace

import pytest

from registry.charts.frame import EDGE, PLOT, WIDTH, TooFewDogsError
from registry.charts.svg import HeapLabels, heap, heaps
from registry.science import dots
from registry.science.distribution import Histogram
from tests.charts.shapes import LABELS, SHAPES, SVG, Shape, counts_of, dots_of, drawing

EVERY_SHAPE = pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())


def shapes_wider_than(svg: str, limit: float) -> list[str]:
    """Return the filled shapes that are wider than ``limit``, by what their attributes say."""
    wide = []
    for element in drawing(svg).iter():
        if element.tag == f"{SVG}rect" and float(element.get("width", "0")) > limit:
            wide.append("rect")
        if element.tag == f"{SVG}circle" and 2 * float(element.get("r", "0")) > limit:
            wide.append("circle")
        is_area = "z" in element.get("d", "").lower() or element.get("fill") not in {None, "none"}
        if element.tag == f"{SVG}path" and is_area:
            runs = [abs(float(run)) for run in re.findall(r"[hH](-?[\d.]+)", element.get("d", ""))]
            if max(runs, default=0) > limit:
                wide.append("path")
        if element.tag in {f"{SVG}polygon", f"{SVG}ellipse", f"{SVG}linearGradient"}:
            wide.append(element.tag)
    return wide


class TestEveryShape:
    @EVERY_SHAPE
    def test_the_circles_add_up_to_the_dogs_or_to_fifty(self, shape: Shape) -> None:
        counted = shape.heap()

        drawn = counts_of(shape.svg())

        beside = 0 if shape.own_is_counted or counted.dogs_per_circle > 1 else 1
        wanted = len(shape.steps) + beside if len(shape.steps) <= 60 else 50
        assert sum(drawn.values()) == wanted
        assert drawn["own"] == 1
        for role, circles in (
            ("better", counted.better),
            ("same", counted.same),
            ("worse", counted.worse),
        ):
            assert drawn.get(role, 0) == circles

    @EVERY_SHAPE
    def test_every_circle_lies_inside_the_plot_and_none_on_another(self, shape: Shape) -> None:
        drawn = dots_of(shape.svg())

        for dot in drawn:
            assert dot.x - dot.radius >= EDGE - 3
            assert dot.x + dot.radius <= EDGE + PLOT + 3
            assert dot.y - dot.radius > 19, "circles reach into the row of the name"
        gap = min(
            ((one.x - other.x) ** 2 + (one.y - other.y) ** 2) ** 0.5 - one.radius - other.radius
            for at, one in enumerate(drawn)
            for other in drawn[:at]
        )
        assert gap > 0

    @EVERY_SHAPE
    def test_better_circles_are_never_right_of_the_own_one_and_worse_never_left(
        self, shape: Shape
    ) -> None:
        drawn = dots_of(shape.svg())
        own = next(dot for dot in drawn if dot.role == "own")
        column = max(dot.radius for dot in drawn) * 2.7 * 6

        assert all(dot.x <= own.x + column for dot in drawn if dot.role == "better")
        assert all(dot.x >= own.x - column for dot in drawn if dot.role == "worse")

    @EVERY_SHAPE
    def test_the_own_circle_lies_on_top_of_its_column(self, shape: Shape) -> None:
        drawn = dots_of(shape.svg())
        own = next(dot for dot in drawn if dot.role == "own")

        assert all(dot.y >= own.y for dot in drawn if abs(dot.x - own.x) < dot.radius)

    @EVERY_SHAPE
    def test_the_own_circle_alone_has_a_ring_so_that_colour_is_not_needed(
        self, shape: Shape
    ) -> None:
        own = next(dot for dot in dots_of(shape.svg()) if dot.role == "own")

        rings = drawing(shape.svg()).findall(f"{SVG}g[@class='heap-flag']/{SVG}circle")

        assert [(float(r.get("cx", "")), float(r.get("cy", ""))) for r in rings] == [(own.x, own.y)]
        assert float(rings[0].get("r", "")) > own.radius

    @EVERY_SHAPE
    def test_it_is_small(self, shape: Shape) -> None:
        svg = shape.svg().encode()

        assert len(svg) <= 4400
        assert len(gzip.compress(svg, mtime=0)) < 1024


class TestTheLookItMustNotHave:
    @EVERY_SHAPE
    def test_no_filled_shape_is_wider_than_15_per_cent_of_the_plot(self, shape: Shape) -> None:
        assert shapes_wider_than(shape.svg(), 0.15 * PLOT) == []

    def test_the_lint_finds_a_shaded_band(self) -> None:
        band = '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h90v9h-90z"/></svg>'
        box = '<svg xmlns="http://www.w3.org/2000/svg"><rect width="90" height="9"/></svg>'

        assert shapes_wider_than(band, 0.15 * PLOT) == ["path"]
        assert shapes_wider_than(box, 0.15 * PLOT) == ["rect"]

    @EVERY_SHAPE
    def test_the_own_marker_is_one_circle_of_the_size_of_all(self, shape: Shape) -> None:
        drawn = dots_of(shape.svg())

        assert len({dot.radius for dot in drawn}) == 1
        assert [dot.role for dot in drawn].count("own") == 1
        assert "<rect" not in shape.svg()
        assert "<polygon" not in shape.svg()

    @EVERY_SHAPE
    def test_it_asks_for_nothing_a_strict_page_blocks(self, shape: Shape) -> None:
        svg = shape.svg()

        for blocked in ("<style", "style=", "<script", "onload", "href", "url(", "<image", "<use"):
            assert blocked not in svg

    def test_only_three_colours_are_used_and_none_is_red_or_green(self) -> None:
        colours = set(re.findall(r'"(#\w+)"', SHAPES["two clumps"].svg()))

        assert colours == {"#12436d", "#646c70"}


class TestWords:
    def test_it_is_one_image_with_its_sentence_and_its_description(self) -> None:
        root = drawing(SHAPES["5,000 dogs"].svg())

        assert root.get("role") == "img"
        assert root.get("aria-labelledby") == "a-t"
        assert root.findtext(f"{SVG}title") == LABELS.title
        assert root.find(f"{SVG}desc[@id='a-d']") is not None

    def test_two_drawings_of_a_page_share_no_id(self) -> None:
        one, other = (
            heap(SHAPES["20 dogs"].heap(), labels=LABELS, ident=ident, better="lower")
            for ident in ("left", "right")
        )

        ids = [set(re.findall(r'id="([^"]+)"', svg)) for svg in (one, other)]
        assert ids[0].isdisjoint(ids[1])

    def test_ends_and_the_worth_of_a_circle_are_written_out(self) -> None:
        text = " ".join(drawing(SHAPES["5,000 dogs"].svg()).itertext())

        for words in ("tighter joint", "looser joint", "1 circle = about 8 dogs", "Juno", "0.31"):
            assert words in text

    def test_what_the_same_value_looks_like_is_said_only_where_it_is_drawn(self) -> None:
        assert "same as Juno" in SHAPES["many ties"].svg()
        assert "same as Juno" not in SHAPES["outside on the loose side"].svg()

    def test_the_axis_has_even_round_numbers_and_no_footnote_marks(self) -> None:
        root = drawing(SHAPES["5,000 dogs"].svg())

        texts = [text.text or "" for text in root.iter(f"{SVG}text")]
        numbers = [text for text in texts if re.fullmatch(r"0\.\d\d", text)]
        assert numbers == ["0.20", "0.40", "0.60", "0.80"]
        assert not [note for note in root.iter(f"{SVG}tspan") if note.get("class") == "note"]

    def test_texts_are_escaped(self) -> None:
        words = replace(LABELS, own='<script>"&', title="<b>", circle="a & b", better_end="<")

        svg = heap(SHAPES["20 dogs"].heap(), labels=words, ident='"x', better="lower")

        assert drawing(svg).findtext(f"{SVG}title") == "<b>"
        assert "<script" not in svg

    def test_a_long_name_is_shortened_and_kept_whole_in_its_title(self) -> None:
        svg = SHAPES["60 dogs, long name"].svg()

        assert "…" in svg
        assert "<title>Bramble of the Very Long Water and Other Places</title>" in svg

    def test_words_too_long_for_one_row_take_two(self) -> None:
        long = replace(LABELS, better_end="the joint sits tighter", worse_end="x" * 30)

        ends = {
            text.text: float(text.get("y", "nan"))
            for text in drawing(
                heap(SHAPES["20 dogs"].heap(), labels=long, ident="a", better="lower")
            ).iter(f"{SVG}text")
        }

        assert ends["x" * 30] > ends["the joint sits tighter"]

    def test_a_heap_about_no_dog_has_no_flag_and_no_key(self) -> None:
        counted = dots.heap(Histogram.of_steps(SHAPES["5,000 dogs"].steps), None, "lower")

        svg = heap(counted, labels=replace(LABELS, own=""), ident="a", better="lower")

        assert counts_of(svg) == {"dog": 50}
        assert "heap-flag" not in svg
        assert "heap-key" not in svg


class TestScales:
    def test_under_twenty_dogs_there_is_no_chart(self) -> None:
        few = dots.heap(Histogram.of_steps([30] * 19), None, "lower")

        with pytest.raises(TooFewDogsError):
            heap(few, labels=LABELS, ident="a", better="lower")

    def test_twenty_dogs_are_enough(self) -> None:
        enough = dots.heap(Histogram.of_steps([30] * 20), None, "lower")

        assert counts_of(heap(enough, labels=LABELS, ident="a", better="lower")) == {"dog": 20}

    def test_the_better_end_is_left_also_where_more_is_better(self) -> None:
        counted = Histogram.of_steps(range(190, 230))

        drawn = dots_of(
            heap(dots.heap(counted, 210, "higher"), labels=LABELS, ident="a", better="higher")
        )

        middle_of = {
            role: sum(d.x for d in drawn if d.role == role) / sum(d.role == role for d in drawn)
            for role in ("better", "worse")
        }
        assert middle_of["better"] < middle_of["worse"]

    def test_left_and_right_share_scale_and_size(self) -> None:
        counted = Histogram.of_steps(SHAPES["5,000 dogs"].steps)
        left, right = (
            dots.heap(counted, own, "lower", own_is_counted=False, span=(2, 104))
            for own in (2, 104)
        )

        svgs = heaps([(left, LABELS, "l"), (right, LABELS, "r")], better="lower")

        assert len({dot.radius for svg in svgs for dot in dots_of(svg)}) == 1
        ticks = [re.findall(r'<g class="axis"[^>]*><path d="([^"]+)"', svg) for svg in svgs]
        assert ticks[0] == ticks[1] != []

    def test_heaps_of_different_scales_are_refused_side_by_side(self) -> None:
        parts = [(SHAPES[name].heap(), LABELS, name) for name in ("20 dogs", "two clumps")]

        with pytest.raises(ValueError, match="span"):
            heaps(parts, better="lower")

    def test_grades_are_ticked_one_by_one(self) -> None:
        counted = Histogram.of_steps([0] * 20 + [1] * 20 + [2] * 10 + [3] * 5 + [4])
        words = HeapLabels(**{**vars(LABELS), "value": "ABCDE".__getitem__})

        svg = heap(dots.heap(counted, 1, "lower"), labels=words, ident="a", better="lower")

        texts = [text.text for text in drawing(svg).iter(f"{SVG}text")]
        assert [text for text in texts if text in set("ABCDE")] == list("ABCDE")

    def test_the_same_heap_is_the_same_drawing(self) -> None:
        assert SHAPES["two clumps"].svg() == SHAPES["two clumps"].svg()
        assert str(WIDTH) in SHAPES["two clumps"].svg()
