"""How long a dog's name, typed wrongly, takes to be found among a million, and whether it is found.

Four slips as fingers make them (a letter left out, doubled, wrong, two swapped), one in each of the
names asked for, all drawn from a fixed seed. The reference is the look-up of the same dogs by their
exact chips, which is what the database does best.

How often the names' groups of three letters recur decides the time: names made of sixteen syllables
alone, so that every group is in tens of thousands of names, took this search some seven times as
long on SQLite as the names of ``club``, whose sounds are many and uneven.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from functools import partial
from statistics import median, quantiles
from time import perf_counter

from registry.models import Dog
from registry.queries.search import FoundDog, find_by_chip, find_dogs
from tests.bench.rounds import QUICK, Row, readable

NAMES = 20 if QUICK else 400
_SEED = 7
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


def run() -> list[Row]:
    """Return the rows of the search: its slowest twentieth, its likeness to a chip, its hits."""
    chance = random.Random(_SEED)
    count = Dog.objects.count()
    asked = list(
        Dog.objects.filter(pk__in=chance.sample(range(count), NAMES)).values_list(
            "public_id", "name", "chip"
        )
    )
    typed = [
        (_SLIPS[place % len(_SLIPS)](name.lower(), chance), name)
        for place, (_id, name, _chip) in enumerate(asked)
    ]
    find_dogs(typed[0][0])
    by_name, by_chip, hits = [], [], 0
    for (slipped, name), (_id, _name, chip) in zip(typed, asked, strict=True):
        seconds, found = _timed(partial(find_dogs, slipped))
        by_name.append(seconds)
        # Another dog of exactly the same name is as right an answer.
        hits += any(dog.name == name for dog in found[:5])
        seconds, _found = _timed(partial(_by_chip, chip or ""))
        by_chip.append(seconds)
    n = f"{NAMES} corrupted names among {count:,} dogs"
    slow = quantiles(by_name, n=20)[-1]
    chips = f"exact chip: median {readable(median(by_chip))}"
    return [
        {
            "what": "name search with a slip, 95th percentile, ms",
            "against": "none: milliseconds (exact chip look-up beside it)",
            "ratio": slow * 1e3,
            "goal": "<= 100",
            "n": n,
            "detail": f"median {readable(median(by_name))}; {chips}",
        },
        {
            "what": "the right name in the first five",
            "against": "none: a share of the corrupted names",
            "ratio": hits / NAMES,
            "goal": ">= 0.95",
            "n": n,
            "detail": "a letter left out, doubled, wrong, or two swapped; a quarter each",
        },
    ]


def _timed(ask: Callable[[], Sequence[FoundDog | None]]) -> tuple[float, list[FoundDog]]:
    began = perf_counter()
    found = ask()
    return perf_counter() - began, [dog for dog in found if dog is not None]


def _by_chip(chip: str) -> list[FoundDog | None]:
    return [find_by_chip(chip)]


def _left_out(name: str, chance: random.Random) -> str:
    place = _letter_of(name, chance)
    return name[:place] + name[place + 1 :]


def _doubled(name: str, chance: random.Random) -> str:
    place = _letter_of(name, chance)
    return name[:place] + name[place] + name[place:]


def _wrong(name: str, chance: random.Random) -> str:
    place = _letter_of(name, chance)
    other = chance.choice(_LETTERS.replace(name[place], ""))
    return name[:place] + other + name[place + 1 :]


def _swapped(name: str, chance: random.Random) -> str:
    pairs = [
        place
        for place in range(len(name) - 1)
        if name[place] != name[place + 1] and " " not in name[place : place + 2]
    ]
    place = chance.choice(pairs)
    return name[:place] + name[place + 1] + name[place] + name[place + 2 :]


def _letter_of(name: str, chance: random.Random) -> int:
    return chance.choice([place for place, letter in enumerate(name) if letter != " "])


_SLIPS = (_left_out, _doubled, _wrong, _swapped)
