"""Certificate and reference numbers: ten symbols that a person can copy from paper by hand.

Thirty-one symbols: the digits, and the letters without I, L, O, S and U, which look like 1, 1, 0, 5
and V. The last symbol is a check: the sum of weight × symbol over all ten places is 0 mod 31. As 31
is prime, two errors are caught by arithmetic, not by luck:

- one wrong symbol changes the sum by weight × (new - old); neither factor is 0 mod 31, so the
  product is not;
- two swapped symbols change it by (difference of their weights) × (difference of the symbols); the
  weights all differ, so again neither factor is 0.

The first nine symbols are random: 31⁹ ≈ 2.6 × 10¹³ numbers, so one cannot be guessed from another.
Where the randomness comes from, and which numbers have been given out, is not known here.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable

ALPHABET = "0123456789ABCDEFGHJKMNPQRTVWXYZ"
LENGTH = 10
_WEIGHTS = tuple(range(LENGTH, 0, -1))
_VALUES = {symbol: value for value, symbol in enumerate(ALPHABET)}
_LOOKALIKES = str.maketrans("ILOSU", "1105V")
_IGNORED = frozenset(" .-_·/")


class NumberProblem(ValueError):
    """A number that cannot be one of ours; ``code`` says why, the message how to fix it.

    Codes: ``empty``, ``too_short``, ``too_long``, ``letter``, ``check``.
    """

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def make_number(randbelow: Callable[[int], int]) -> str:
    """Return a new number. ``randbelow(31)`` must give an unpredictable whole number 0 to 30."""
    body = [randbelow(len(ALPHABET)) for _ in range(LENGTH - 1)]
    # The check symbol's own weight is 1, so it is what the others lack to a multiple of 31.
    check = -sum(weight * value for weight, value in zip(_WEIGHTS, body, strict=False))
    return "".join(ALPHABET[value] for value in [*body, check % len(ALPHABET)])


def parse_number(text: str) -> str:
    """Return the ten symbols of a number typed in any case, with or without spaces and dashes.

    I and L are read as 1, O as 0, S as 5, U as V. Raises NumberProblem.
    """
    symbols = _symbols(text)
    if not symbols:
        raise NumberProblem("empty", "Type the number printed on the certificate.")
    strange = [symbol for symbol in symbols if symbol not in _VALUES]
    if strange:
        raise NumberProblem(
            "letter",
            f"“{strange[0]}” is never part of a number. A number has only digits and the "
            "letters A to Z.",
        )
    if len(symbols) != LENGTH:
        code = "too_short" if len(symbols) < LENGTH else "too_long"
        raise NumberProblem(
            code,
            f"A number has {LENGTH} letters and digits. You typed {len(symbols)}. "
            "Compare it with the paper.",
        )
    if not _adds_up(symbols):
        raise NumberProblem(
            "check",
            "One letter or digit looks wrong, or two are swapped. Compare each one with the paper.",
        )
    return symbols


def format_number(number: str) -> str:
    """Return the number in groups of three, four and three: easier to read out and to compare."""
    return f"{number[:3]}-{number[3:7]}-{number[7:]}"


def _symbols(text: str) -> str:
    """Return the text in capitals with lookalikes folded and everything ignored left out."""
    # NFKC makes full-width letters and digits plain; no-break spaces become spaces.
    plain = unicodedata.normalize("NFKC", text).upper().translate(_LOOKALIKES)
    return "".join(
        _digit(letter)
        for letter in plain
        if letter not in _IGNORED and unicodedata.category(letter) not in ("Pd", "Zs", "Cc", "Cf")
    )


def _digit(letter: str) -> str:
    return str(unicodedata.digit(letter)) if letter.isdecimal() else letter


def _adds_up(symbols: str) -> bool:
    total = sum(weight * _VALUES[symbol] for weight, symbol in zip(_WEIGHTS, symbols, strict=True))
    return total % len(ALPHABET) == 0
