"""Where a dog stands, drawn as a heap of circles: SVG made on the server.

A circle is a dog, or an equal share of the dogs; filled is better, hollow is worse,
and the dog's own carries a ring and its name. Every text comes from the caller.
Counting and stacking are in ``registry.science.dots``; here is only the drawing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil

from registry.charts.axis import Scale, axis
from registry.charts.frame import (
    EDGE,
    OWN,
    PLOT,
    ROLES,
    WIDTH,
    TooFewDogsError,
    framed,
    kept_inside,
    shortened,
    text_width,
)
from registry.science.dots import Circle, Heap
from registry.science.scale import Better
from registry.science.standing import FEWEST_TO_COMPARE

_BIGGEST_PITCH = 14.0
_TALLEST = 140.0
_FLATTEST = 42.0
_HEAD = 28.0
_NAME_SIZE = 14
_LONGEST_NAME = 230.0


@dataclass(frozen=True)
class HeapLabels:
    """The words of one heap.

    ``title`` is the sentence a screen reader says, ``description`` says more.
    ``better_end`` and ``worse_end`` name the ends of the axis, ``circle`` says what
    one circle stands for, ``same`` what those of the dog's own value are ("same as
    Juno"), and ``value`` turns a step into its wording with its unit.
    ``own`` is the dog's name, or empty for a heap about no dog in particular.
    """

    title: str
    description: str
    better_end: str
    worse_end: str
    circle: str
    value: Callable[[int], str]
    same: str = ""
    own: str = ""
    own_value: str = ""


@dataclass(frozen=True)
class Layout:
    """How circles are packed: ``across`` of them beside each other in a column ``slot`` wide."""

    slot: float
    across: int
    pitch: float
    base: float
    is_reversed: bool

    @property
    def radius(self) -> float:
        """Return the radius of every circle."""
        return round(self.pitch * 0.375, 1)

    def place(self, circle: Circle) -> tuple[float, float]:
        """Return the centre of a circle."""
        row, along = divmod(circle.row, self.across)
        middle = (circle.column + 0.5) * self.slot
        x = EDGE + (PLOT - middle if self.is_reversed else middle)
        x += (along - (self.across - 1) / 2) * self.pitch
        return x, self.base - (row + 0.6) * self.pitch


def heap(heap: Heap, *, labels: HeapLabels, ident: str, better: Better, font: str = "") -> str:
    """Draw one heap of circles; see ``heaps``."""
    return heaps([(heap, labels, ident)], better=better, font=font)[0]


def heaps(
    parts: Sequence[tuple[Heap, HeapLabels, str]], *, better: Better, font: str = ""
) -> list[str]:
    """Draw heaps of one trait, such as the left and the right hip, on one scale and in one size.

    Each part is a heap, its words, and an ``ident`` that no other drawing of the page
    has. The better end is on the left. ``font`` names a typeface where the drawing
    stands alone; on a page it takes the page's. Raises TooFewDogsError under 20 dogs,
    and ValueError when the heaps were not given the same span of steps.
    """
    first = parts[0][0]
    if any(part.n < FEWEST_TO_COMPARE for part, _, _ in parts):
        raise TooFewDogsError(f"a heap needs {FEWEST_TO_COMPARE} dogs")
    if any(part.column_edges != first.column_edges for part, _, _ in parts):
        raise ValueError("heaps side by side need the same span of steps")
    layout = packed(len(first.columns), max(part.rows for part, _, _ in parts), better)
    return [_drawn(part, words, ident, layout, font) for part, words, ident in parts]


def packed(columns: int, rows: int, better: Better) -> Layout:
    """Return the packing with the largest circles that keeps the tallest column in bounds."""
    slot = PLOT / columns
    pitch, across = max(
        (min(_BIGGEST_PITCH, slot / across, _TALLEST / ceil(rows / across)), -across)
        for across in range(1, rows + 1)
        if across == 1 or slot / across >= 2
    )
    pitch = max(int(pitch * 2) / 2, 1.0)
    height = max(ceil(rows / -across) * pitch, _FLATTEST)
    return Layout(slot, -across, pitch, ceil(_HEAD + height), better == "higher")


def circles(part: Heap, layout: Layout) -> str:
    """Draw the circles of a heap, a group for each role."""
    by_role: dict[str, list[str]] = {}
    size = f'r="{layout.radius:g}"'
    for circle in part.circles:
        x, y = layout.place(circle)
        by_role.setdefault(circle.role, []).append(f'<circle cx="{x:.4g}" cy="{y:.4g}" {size}/>')
    return "".join(
        f'<g {ROLES[role]} stroke-width="1.1">{"".join(drawn)}</g>'
        for role, drawn in by_role.items()
    )


def scale_of(part: Heap, layout: Layout) -> Scale:
    """Return the scale under a heap."""
    edges = part.column_edges
    return Scale(edges[0], edges[-1] - 1, layout.is_reversed)


def _drawn(part: Heap, words: HeapLabels, ident: str, layout: Layout, font: str) -> str:
    body = [circles(part, layout)]
    own = next((circle for circle in part.circles if circle.role == "own"), None)
    if own is not None:
        body.append(_flag(*layout.place(own), layout, words))
    scale = scale_of(part, layout)
    body.append(axis(scale, layout.base, value=words.value))
    same = words.same if part.same else ""
    drawn, height = ends(
        layout.base + 37,
        (
            (words.better_end, "better" * bool(own), words.worse_end, "worse" * bool(own)),
            (words.circle, "", same, "same" * bool(same)),
        ),
    )
    return framed(
        "".join(body) + drawn,
        title=words.title,
        description=words.description,
        ident=ident,
        height=height,
        font=font,
    )


def _flag(x: float, y: float, layout: Layout, words: HeapLabels) -> str:
    """Draw the ring around the own circle, and the line up to the dog's name."""
    ring = layout.radius + layout.pitch * 0.15
    name = shortened(words.own, _LONGEST_NAME - text_width(words.own_value, _NAME_SIZE), _NAME_SIZE)
    label_x, anchor = kept_inside(x, text_width(f"{name} {words.own_value}", _NAME_SIZE))
    hint = f"<title>{escape(words.own)}</title>" if name != words.own else ""
    return (
        f'<g class="heap-flag" fill="none" stroke="{OWN}"><circle cx="{x:.4g}" cy="{y:.4g}"'
        f' r="{ring:.3g}" stroke-width="1.1"/><path d="M{x:.4g} {y - ring:.4g}V19"/></g>'
        f'<text class="heap-name" x="{label_x:.4g}" y="14" text-anchor="{anchor}" fill="{OWN}"'
        f' font-size="{_NAME_SIZE}" font-weight="600">{hint}{escape(name)}'
        f'<tspan font-weight="400" dx="5">{escape(words.own_value)}</tspan></text>'
    )


def ends(y: float, rows: Sequence[tuple[str, str, str, str]]) -> tuple[str, float]:
    """Draw rows of words under the axis from y on; return them with the height of the drawing.

    A row has words on the left, the role of the circle that stands as a sample before
    them, or nothing, and the same on the right. Words that do not fit beside each other,
    as in a wordy language, go under each other. The first row is the largest.
    """
    drawn = []
    for at, (left, left_key, right, right_key) in enumerate(rows):
        size = 13.5 if at else 14
        drawn.append(_words(left, left_key, y, size, is_right=False))
        if text_width(left, size) + text_width(right, size) > PLOT - 50:
            y += 18
        drawn.append(_words(right, right_key, y, size, is_right=True))
        y += 19
    return f'<g class="axis" fill="currentColor">{"".join(drawn)}</g>', y - 12


def _words(text: str, key: str, y: float, size: float, *, is_right: bool) -> str:
    """Draw words at one end, behind the sample circle of ``key`` if there is one."""
    inwards = -1 if is_right else 1
    edge = WIDTH - EDGE if is_right else EDGE
    sample = ""
    if key:
        sample = (
            f'<g {ROLES[key]}><circle class="heap-key" cx="{edge + inwards * 5}"'
            f' cy="{y - 4.4:.4g}" r="4.5"/></g>'
        )
    if not text:
        return sample
    anchor = ' text-anchor="end"' if is_right else ""
    return (
        f'{sample}<text x="{edge + inwards * (14 if key else 0)}" y="{y:g}"{anchor}'
        f' font-size="{size:g}">{escape(text)}</text>'
    )
