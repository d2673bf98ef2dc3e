"""A litter's fifty circles: their structure, the line at the breed's middle, and their words."""

from __future__ import annotations

import gzip
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from decimal import Decimal

import pytest

from registry.charts.frame import EDGE, PLOT, WIDTH
from registry.charts.litter import LitterLabels, ParentNote, litter, litters
from registry.science import dots
from registry.science.litter import Forecast
from registry.science.scale import Better
from tests.charts.shapes import SVG, counts_of, dots_of, drawing
from tests.charts.test_heap import shapes_wider_than

LABELS = LitterLabels(
    title="Of 100 puppies from this pair, about 63 are expected tighter than the middle dog.",
    description="Each circle is one of 50 equally likely puppies.",
    better_end="tighter",
    worse_end="looser",
    circle="1 circle = 1 of 50 equally likely puppies",
    middle="Middle of the breed",
    middle_value="0.45",
    middle_step=45.0,
    value=lambda step: f"{step / 100:.2f}",
)
PARENTS = (ParentNote(36.5, "Sire Bram", "0.37"), ParentNote(38.0, "Dam Juno", "0.38"))


def heap_of(
    mean: float, sd: float = 0.08, middle: float = 0.45, better: Better = "lower"
) -> dots.Heap:
    forecast = Forecast(
        mean=mean,
        parent_variance=0.25 * sd**2,
        mendelian_variance=0.25 * sd**2,
        litter_variance=0.1 * sd**2,
        residual_variance=0.4 * sd**2,
        inbreeding=0.05,
        better=better,
    )
    found = forecast.circles(
        middle, resolution=Decimal("0.01"), lowest=Decimal("0.05"), highest=Decimal("1.2")
    )
    return dots.parted(found.steps, found.edge, better, span=(14, 98))


def draw(mean: float = 0.42, labels: LitterLabels = LABELS, better: Better = "lower") -> str:
    return litter(heap_of(mean, better=better), labels=labels, ident="l", better=better)


def litter_svgs() -> dict[str, str]:
    """Return the drawings every browser test shows."""
    named = replace(LABELS, parents=PARENTS)
    long = ParentNote(90.0, "Sire Bramble of the Very Long Water and Other Places", "0.90")
    pairs = [(heap_of(0.42), replace(named, title="one"), "p1"), (heap_of(0.6, 0.04), named, "p2")]
    return {
        "litter": litter(heap_of(0.42), labels=LABELS, ident="l0", better="lower"),
        "parents": litter(heap_of(0.36), labels=named, ident="l1", better="lower"),
        "far parent": litter(
            heap_of(0.8), labels=replace(LABELS, parents=(long,)), ident="l2", better="lower"
        ),
        "all better": litter(heap_of(0.2, 0.03), labels=LABELS, ident="l3", better="lower"),
        "higher": litter(heap_of(0.5, better="higher"), labels=LABELS, ident="l4", better="higher"),
        **dict(zip(("pair one", "pair two"), litters(pairs, better="lower"), strict=True)),
    }


EVERY = pytest.mark.parametrize("svg", litter_svgs().values(), ids=litter_svgs().keys())


class TestTheCircles:
    @EVERY
    def test_there_are_fifty_of_one_size_and_none_is_a_dogs_own(self, svg: str) -> None:
        drawn = dots_of(svg)

        assert len(drawn) == 50
        assert len({dot.radius for dot in drawn}) == 1
        assert set(counts_of(svg)) <= {"better", "worse"}

    @EVERY
    def test_all_lie_inside_the_plot_and_below_the_word(self, svg: str) -> None:
        for dot in dots_of(svg):
            assert dot.x - dot.radius >= EDGE - 3
            assert dot.x + dot.radius <= EDGE + PLOT + 3
            assert dot.y - dot.radius > 19

    @EVERY
    def test_the_line_parts_better_from_worse_and_touches_none(self, svg: str) -> None:
        x = middle_of(svg)

        for dot in dots_of(svg):
            assert abs(dot.x - x) > dot.radius
            assert (dot.x < x) == (dot.role == "better"), "the better end is on the left"

    def test_as_many_are_filled_as_the_forecast_says(self) -> None:
        # (0.45 − 0.42) / 0.08 = 0.375 standard deviations: 64.6 of 100, 32.3 of 50.
        assert counts_of(draw())["better"] == 32


class TestTheLook:
    @EVERY
    def test_no_filled_shape_is_wide_and_no_box_is_drawn(self, svg: str) -> None:
        assert shapes_wider_than(svg, 0.15 * PLOT) == []
        assert "<rect" not in svg

    @EVERY
    def test_it_asks_for_nothing_a_strict_page_blocks(self, svg: str) -> None:
        for blocked in ("<style", "style=", "<script", "onload", "href", "url(", "<image", "<use"):
            assert blocked not in svg

    @EVERY
    def test_only_the_two_colours_of_all_heaps_are_used(self, svg: str) -> None:
        assert set(re.findall(r'"(#\w+)"', svg)) <= {"#12436d", "#646c70"}

    @EVERY
    def test_it_is_small(self, svg: str) -> None:
        assert len(svg.encode()) <= 4600
        assert len(gzip.compress(svg.encode(), mtime=0)) < 1100


class TestWords:
    def test_the_sentence_is_the_pictures_name(self) -> None:
        root = drawing(draw())

        assert root.get("role") == "img"
        assert root.findtext(f"{SVG}title") == LABELS.title

    def test_middle_ends_and_the_worth_of_a_circle_are_written_out(self) -> None:
        text = " ".join(drawing(draw()).itertext())

        for words in ("Middle of the breed", "0.45", "tighter", "looser", "1 of 50 equally likely"):
            assert words in text

    def test_filled_and_hollow_are_explained_by_samples(self) -> None:
        keys = re.findall(r'class="heap-(\w+)"[^>]*><circle class="heap-key"', draw())

        assert keys == ["better", "worse"]

    def test_parents_are_named_with_their_values_under_the_axis(self) -> None:
        root = drawing(draw(labels=replace(LABELS, parents=PARENTS)))

        rows = {
            text.text: float(text.get("y", "nan"))
            for text in root.findall(f"{SVG}text")
            if text.text and text.text.startswith(("Sire", "Dam"))
        }

        assert list(rows) == ["Sire Bram 0.37", "Dam Juno 0.38"]
        assert axis_of(root) < rows["Sire Bram 0.37"] < rows["Dam Juno 0.38"]

    def test_a_long_name_is_shortened_and_kept_whole_in_its_title(self) -> None:
        svg = litter_svgs()["far parent"]

        assert "…" in svg
        assert "<title>Sire Bramble of the Very Long Water and Other Places</title>" in svg

    def test_texts_are_escaped(self) -> None:
        nasty = replace(
            LABELS, title="<b>", middle='<script>"&', parents=(ParentNote(40, "<i>", "&"),)
        )

        svg = draw(labels=nasty)

        assert drawing(svg).findtext(f"{SVG}title") == "<b>"
        assert "<script" not in svg
        assert "<i>" not in svg


class TestSideBySide:
    def test_pairs_share_scale_and_size(self) -> None:
        one, two = (litter_svgs()[name] for name in ("pair one", "pair two"))

        assert middle_of(one) == middle_of(two)
        assert {dot.radius for dot in dots_of(one)} == {dot.radius for dot in dots_of(two)}

    def test_pairs_of_different_scales_are_refused(self) -> None:
        other = dots.parted([40] * 50, 45, "lower", span=(0, 120))

        with pytest.raises(ValueError, match="same middle and span"):
            litters([(heap_of(0.4), LABELS, "a"), (other, LABELS, "b")], better="lower")

    def test_the_better_end_is_left_also_where_more_is_better(self) -> None:
        drawn = dots_of(draw(0.5, better="higher"))

        better = [dot.x for dot in drawn if dot.role == "better"]
        worse = [dot.x for dot in drawn if dot.role == "worse"]
        assert max(better) < min(worse)
        assert max(dot.x for dot in drawn) < WIDTH


def axis_of(root: ET.Element) -> float:
    """Return the height of the base line."""
    path = root.findall(f"{SVG}g[@class='axis']/{SVG}path")[0].get("d", "")
    return float(path.split()[1].split("h")[0])


def middle_of(svg: str) -> float:
    """Return where the line at the breed's middle stands."""
    line = drawing(svg).findall(f"{SVG}g[@class='heap-flag']/{SVG}path")[0]
    return float(re.findall(r"M([\d.]+)", line.get("d", ""))[0])
