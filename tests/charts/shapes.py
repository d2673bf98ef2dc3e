"""The eight shapes of data every drawing must get right, and a reading of what was drawn."""

import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from registry.charts.svg import HeapLabels, heap
from registry.science import dots
from registry.science.distribution import Histogram

SVG = "{http://www.w3.org/2000/svg}"
ROLES = ("better", "same", "own", "worse", "dog")

LABELS = HeapLabels(
    title="Of 100 tested dogs, about 24 have tighter hips than Juno.",
    description="Each circle stands for an equal share of the tested dogs.",
    better_end="tighter joint",
    worse_end="looser joint",
    circle="1 circle = about 8 dogs",
    value=lambda step: f"{step / 100:.2f}",
    same="same as Juno",
    own="Juno",
    own_value="0.31",
)


@dataclass(frozen=True)
class Shape:
    """One set of dogs: the steps of all that are counted, and the own dog's."""

    steps: tuple[int, ...]
    own: int
    own_is_counted: bool = True
    name: str = "Juno"

    def heap(self) -> dots.Heap:
        """Return its circles."""
        counted = Histogram.of_steps(self.steps)
        return dots.heap(counted, self.own, "lower", own_is_counted=self.own_is_counted)

    def svg(self) -> str:
        """Return its drawing."""
        words = replace(LABELS, own=self.name, own_value=LABELS.value(self.own))
        return heap(self.heap(), labels=words, ident="a", better="lower")


def _bell(dogs: int, middle: float, spread: float) -> tuple[int, ...]:
    drawn = np.random.default_rng(dogs).normal(middle, spread, dogs)
    return tuple(int(step) for step in np.clip(np.round(drawn), 5, 110))


SHAPES = {
    "20 dogs": Shape((*_bell(19, 42, 11), 31), 31),
    "60 dogs, long name": Shape(
        (*_bell(59, 42, 11), 55), 55, name="Bramble of the Very Long Water and Other Places"
    ),
    "61 dogs": Shape((*_bell(60, 42, 11), 22), 22),
    "5,000 dogs": Shape((*_bell(4999, 42, 11), 31), 31),
    "all equal": Shape((31,) * 60, 31),
    "two clumps": Shape((*_bell(200, 25, 3), *_bell(200, 70, 4), 69), 69),
    "outside on the loose side": Shape(_bell(400, 35, 5), 97, own_is_counted=False),
    "outside on the tight side": Shape(
        _bell(400, 45, 5), 2, own_is_counted=False, name="Ångström på Bråviken"
    ),
    "many ties": Shape((30,) * 150 + (31,) * 151 + (32,) * 100, 31),
}


@dataclass(frozen=True)
class Dot:
    """One drawn circle of a dog."""

    role: str
    x: float
    y: float
    radius: float


def drawing(svg: str) -> ET.Element:
    """Return the elements of a drawing made here."""
    return ET.fromstring(svg)  # noqa: S314 - our own drawing, not a stranger's file


def dots_of(svg: str) -> list[Dot]:
    """Return the circles that stand for dogs: not the ring, not the samples of the key."""
    found = []
    for group in drawing(svg):
        role = (group.get("class") or "").removeprefix("heap-")
        if group.tag == f"{SVG}g" and role in ROLES:
            found += [
                Dot(role, *(float(circle.get(name, "nan")) for name in ("cx", "cy", "r")))
                for circle in group.findall(f"{SVG}circle")
            ]
    return found


def counts_of(svg: str) -> dict[str, int]:
    """Return how many circles of each role are drawn."""
    return dict(Counter(dot.role for dot in dots_of(svg)))
