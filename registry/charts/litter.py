"""What a pair's puppies may be, drawn as a heap of fifty circles: SVG made on the server.

A circle is one of fifty equally likely puppies on the breed's scale; filled is better than the
breed's middle dog, hollow is worse, and a line with its word stands at the middle. Every text comes
from the caller, the stacking from ``registry.science.dots.parted``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil

from registry.charts.axis import Scale, axis
from registry.charts.frame import OWN, framed, kept_inside, shortened, text_width
from registry.charts.svg import Layout, circles, ends, packed, scale_of
from registry.science.dots import Heap
from registry.science.scale import Better

_WORD_SIZE = 14
_NOTE_SIZE = 13.5
_ROW = 17.0
_LONGEST_NOTE = 150.0


@dataclass(frozen=True)
class ParentNote:
    """A parent's own record on the scale: its step, and its name or wording with the value."""

    step: float
    name: str
    value: str


@dataclass(frozen=True)
class LitterLabels:
    """The words of one litter, and the step of the breed's middle.

    ``title`` is the sentence a screen reader says, ``description`` says more.
    ``better_end`` and ``worse_end`` say what filled and hollow circles are, ``circle``
    what one stands for, ``middle`` and ``middle_value`` name the line, and ``value``
    turns a step into its wording. Of grades (``is_graded``) the middle has its name above
    its own column and no line, and ``same`` says what the circles of that grade are.
    ``parents`` may be left out.
    """

    title: str
    description: str
    better_end: str
    worse_end: str
    circle: str
    middle: str
    middle_value: str
    middle_step: float
    value: Callable[[int], str]
    parents: tuple[ParentNote, ...] = ()
    is_graded: bool = False
    same: str = ""


def litter(heap: Heap, *, labels: LitterLabels, ident: str, better: Better, font: str = "") -> str:
    """Draw one litter; see ``litters``."""
    return litters([(heap, labels, ident)], better=better, font=font)[0]


def litters(
    parts: Sequence[tuple[Heap, LitterLabels, str]], *, better: Better, font: str = ""
) -> list[str]:
    """Draw litters of several pairs on one scale and in one size, the better end on the left.

    Each part is a parted heap, its words, and an ``ident`` that no other drawing of the
    page has. Raises ValueError when the heaps were not given the same edge and span.
    """
    first = parts[0][0]
    if any(part.column_edges != first.column_edges for part, _, _ in parts):
        raise ValueError("litters side by side need the same middle and span of steps")
    layout = packed(len(first.columns), max(part.rows for part, _, _ in parts), better)
    return [_drawn(part, words, ident, layout, font) for part, words, ident in parts]


def _drawn(part: Heap, words: LitterLabels, ident: str, layout: Layout, font: str) -> str:
    scale = scale_of(part, layout)
    notes, below = _parents(words.parents, scale, layout.base)
    drawn, height = ends(
        below + 3,
        (
            (
                words.better_end,
                "better" * bool(words.better_end),
                words.worse_end,
                "worse" * bool(words.worse_end),
            ),
            (words.circle, "", words.same, "same" * bool(words.same)),
        ),
    )
    return framed(
        _middle(words, scale, layout.base)
        + circles(part, layout)
        + axis(scale, layout.base, value=words.value)
        + notes
        + drawn,
        title=words.title,
        description=words.description,
        ident=ident,
        height=height,
        font=font,
    )


def _middle(words: LitterLabels, scale: Scale, base: float) -> str:
    """Draw the line at the breed's middle with its word above.

    It stands between two steps, where the columns part, so that it cuts no circle: for a
    middle on a whole step that is half a step beside it. A grade has its own column: the
    word stands above that, with a short line and none through the circles.
    """
    if words.is_graded:
        x, end = scale.x(words.middle_step), "25"
    else:
        x, end = scale.x(ceil(round(words.middle_step, 6)) - 0.5), f"{base:g}"
    width = text_width(f"{words.middle} {words.middle_value}", _WORD_SIZE)
    label_x, anchor = kept_inside(x, width)
    return (
        f'<g class="heap-flag" fill="none" stroke="{OWN}"><path d="M{x:.1f} {end}V19"/></g>'
        f'<text class="heap-name" x="{label_x:.4g}" y="14" text-anchor="{anchor}" fill="{OWN}"'
        f' font-size="{_WORD_SIZE}" font-weight="600">{escape(words.middle)}'
        f'<tspan font-weight="400" dx="5">{escape(words.middle_value)}</tspan></text>'
    )


def _parents(notes: Sequence[ParentNote], scale: Scale, base: float) -> tuple[str, float]:
    """Mark each parent's record on the axis and name it below, a row each.

    Return that with where the next row begins.
    """
    drawn = []
    y = base + 34
    for note in notes:
        x = scale.x(min(max(note.step, scale.first), scale.last))
        name = shortened(note.name, _LONGEST_NOTE, _NOTE_SIZE)
        label_x, anchor = kept_inside(x, text_width(f"{name} {note.value}", _NOTE_SIZE))
        text = escape(f"{name} {note.value}")
        if name != note.name:
            text = f"<title>{escape(note.name)}</title>{text}"
        drawn.append(
            f'<g class="heap-flag" fill="none" stroke="{OWN}" stroke-width="2">'
            f'<path d="M{x:.1f} {base - 4:g}v9"/></g>'
            f'<text class="heap-name" x="{label_x:.4g}" y="{y:g}" text-anchor="{anchor}"'
            f' fill="{OWN}" font-size="{_NOTE_SIZE}">{text}</text>'
        )
        y += _ROW
    return "".join(drawn), y + (4 if notes else 0)
