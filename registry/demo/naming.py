"""Names, chips and stud book numbers of the invented dogs, and the names of their owners.

A litter shares its last word, as many breeders have it; kennels stand before or after the name. No
two dogs get one name or one chip. Pure: words and a random generator in, texts out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from registry.demo.words import Words

_LOWEST_ANIMAL, _HIGHEST_ANIMAL = 10**11, 2**38


class KennelNames:
    """Gives every litter a kennel and a word of its own within it."""

    def __init__(self, words: Words, rng: np.random.Generator) -> None:
        self._words = words
        self._rng = rng
        self._left: dict[int, list[str]] = defaultdict(self._shuffled)
        self._abroad: list[str] | None = None

    def litter(self, kennel: int) -> Iterator[str]:
        """The names of one litter's puppies, of the kennel with this place in the list."""
        if not self._left[kennel]:
            raise ValueError("the kennel has used up its words; add some to the scenario")
        shared = self._left[kennel].pop()
        for first in self._rng.permutation(self._words.first_words):
            yield self._styled(kennel, f"{first} {shared}")

    def abroad(self) -> Iterator[str]:
        """The name of one dog from abroad, with the kennel after it."""
        if self._abroad is None:
            pairs = [
                f"{word} {root}"
                for word in self._words.words_abroad
                for root in self._words.kennels_abroad
            ]
            self._abroad = [str(name) for name in self._rng.permutation(pairs)]
        if not self._abroad:
            raise ValueError("the names from abroad are used up; add some to the scenario")
        yield self._abroad.pop()

    def any_kennel(self) -> int:
        """A kennel by chance."""
        return int(self._rng.integers(len(self._words.kennels)))

    def _styled(self, kennel: int, name: str) -> str:
        root = self._words.kennels[kennel]
        if kennel % 4 == 3:
            return f"{name} of {root}"
        return f"{root}'s {name}" if kennel % 4 == 2 else f"{root} {name}"

    def _shuffled(self) -> list[str]:
        return [str(word) for word in self._rng.permutation(self._words.second_words)]


def chips(words: Words, n: int, rng: np.random.Generator) -> list[str]:
    """So many different chip numbers of the scenario's country, in an order that says nothing."""
    numbers: dict[int, None] = {}
    while len(numbers) < n:
        numbers[int(rng.integers(_LOWEST_ANIMAL, _HIGHEST_ANIMAL))] = None
    return [f"{words.chip_prefix}{number}" for number in numbers]


def one_digit_off(chip: str, rng: np.random.Generator) -> str:
    """The chip with one of its last nine digits changed, as a slip of the hand would."""
    place = int(rng.integers(6, 15))
    other = (int(chip[place]) + int(rng.integers(1, 10))) % 10
    return f"{chip[:place]}{other}{chip[place + 1 :]}"


def owner(words: Words, rng: np.random.Generator, *, with_mail: bool) -> dict[str, str]:
    """An owner as the REST body has it; the address can never exist (RFC 2606)."""
    given, family = (str(rng.choice(words.owners[part])) for part in ("given", "family"))
    mailbox = f"{given}.{family}.{int(rng.integers(100, 1000))}".lower()
    return {
        "full_name": f"{given} {family}",
        "email": f"{mailbox}@post.example" if with_mail else "",
    }
