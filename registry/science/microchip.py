"""Chip numbers: the fifteen digits of an ISO 11784/11785 transponder, kept as text.

Three digits for the country (ISO 3166-1 numeric) or for the manufacturer (900 to 998), twelve for
the animal. There is no check digit, so a slip of the keyboard cannot be seen in the number itself:
``slips`` gives what to look for instead. Whose chip it is belongs to the register, not here.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

# The 249 numeric codes assigned in ISO 3166-1, as of 2026. Source: the ISO 3166-1 table, compared
# code by code with Debian's iso-codes data (pycountry 26.2.16).
_ASSIGNED = """
004 008 010 012 016 020 024 028 031 032 036 040 044 048 050 051 052 056 060 064 068 070 072
074 076 084 086 090 092 096 100 104 108 112 116 120 124 132 136 140 144 148 152 156 158 162
166 170 174 175 178 180 184 188 191 192 196 203 204 208 212 214 218 222 226 231 232 233 234
238 239 242 246 248 250 254 258 260 262 266 268 270 275 276 288 292 296 300 304 308 312 316
320 324 328 332 334 336 340 344 348 352 356 360 364 368 372 376 380 384 388 392 398 400 404
408 410 414 417 418 422 426 428 430 434 438 440 442 446 450 454 458 462 466 470 474 478 480
484 492 496 498 499 500 504 508 512 516 520 524 528 531 533 534 535 540 548 554 558 562 566
570 574 578 580 581 583 584 585 586 591 598 600 604 608 612 616 620 624 626 630 634 638 642
643 646 652 654 659 660 662 663 666 670 674 678 682 686 688 690 694 702 703 704 705 706 710
716 724 728 729 732 740 744 748 752 756 760 762 764 768 772 776 780 784 788 792 795 796 798
800 804 807 818 826 831 832 833 834 840 850 854 858 860 862 876 882 887 894
"""
_COUNTRIES = frozenset(_ASSIGNED.split())
_FIRST_MANUFACTURER, _TEST = 900, 999
_LENGTH = 15
END_LENGTH = 6
_HIGHEST_ID = 2**38 - 1  # ISO 11784: 38 bits for the animal, 274877906943

_PREFIX = re.compile(
    r"^(?:micro-?chip|chip|transponder|iso(?:[ /-]*1178[45])*|number|num|nr|no|id|№|[#:.\s-])+",
    re.IGNORECASE,
)
_ROUNDED = re.compile(r"^\d(?:[.,]\d+)?e\+?\d+$", re.IGNORECASE)
_DECIMAL = re.compile(r"^\d{12,15}[.,]0{1,2}$")
_SEPARATORS = frozenset(" .-_·/:'’")


class ChipProblem(ValueError):
    """A text that is not a chip number; ``code`` says why, the message how to fix it.

    Codes: ``empty``, ``letters``, ``too_short``, ``too_long``, ``lost_zero``, ``rounded``,
    ``decimal``, ``country``, ``test``, ``animal_number``, ``neither``.
    """

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


@dataclass(frozen=True)
class Chip:
    """A sound chip number. ``country_or_manufacturer`` is its first three digits."""

    text15: str
    country_or_manufacturer: str
    is_manufacturer: bool

    def __str__(self) -> str:
        return self.text15


def parse_chip(text: str, *, allow_test: bool = False) -> Chip:
    """Return the chip a person typed, pasted or scanned.

    Spaces, dots, dashes and words such as “chip” or “ISO” before the number are left out; digits of
    any script count. Numbers a spreadsheet has rounded or shortened are refused, never repaired by
    guessing. Codes of the test range (999) are refused unless allowed. Raises ChipProblem.
    Source: ISO 11784 and ISO 24631-6.
    """
    digits = _digits(text)
    if len(digits) < _LENGTH:
        raise _too_short(digits)
    if len(digits) > _LENGTH:
        raise ChipProblem(
            "too_long",
            f"A chip number has 15 digits. This has {len(digits)}. "
            "Check that two numbers have not run together.",
        )
    return _checked(digits, allow_test=allow_test)


def parse_to_compare(text: str) -> str:
    """Return what a person typed to compare a chip with: all 15 digits, or the last 6.

    Nothing between counts: an answer to fewer digits would tell the others one by one. Raises
    ChipProblem.
    """
    digits = _digits(text)
    if len(digits) not in (END_LENGTH, _LENGTH):
        raise ChipProblem(
            "neither",
            f"Type all 15 digits of the chip, or its last {END_LENGTH}. You typed {len(digits)}.",
        )
    return digits


def has_digits(chip15: str, asked: str) -> bool:
    """Whether these are the chip's 15 digits or its last 6; any other length is neither."""
    return bool(asked) and asked in (chip15, chip15[-END_LENGTH:])


def in_groups(text15: str) -> str:
    """The digits in groups that can be read out: ``999 000 000 123 456``."""
    return " ".join(text15[place : place + 3] for place in range(0, len(text15), 3))


def slips(text15: str) -> frozenset[str]:
    """Return the up to 149 numbers one slip away: one digit changed or two neighbours swapped.

    Not all of them need be possible chip numbers; the given one is never among them.
    """
    changed = {
        text15[:at] + digit + text15[at + 1 :]
        for at in range(len(text15))
        for digit in "0123456789"
    }
    swapped = {
        text15[:at] + text15[at + 1] + text15[at] + text15[at + 2 :]
        for at in range(len(text15) - 1)
    }
    return frozenset((changed | swapped) - {text15})


def to_code64(chip: Chip, *, has_data_block: bool = False) -> int:
    """Return the chip's 64-bit code, bit 1 of ISO 11784 as the most significant bit.

    Bit 1 animal flag (set), 2-15 zero, 16 data-block flag, 17-26 country or manufacturer, 27-64
    number of the animal.
    """
    return (
        1 << 63
        | int(has_data_block) << 48
        | int(chip.country_or_manufacturer) << 38
        | int(chip.text15[3:])
    )


def from_code64(code: int, *, allow_test: bool = False) -> Chip:
    """Return the chip of a 64-bit code as a reader gives it; bits 2 to 16 are not looked at."""
    if not 0 <= code < 1 << 64:
        raise ChipProblem("too_long", "A chip's code has 64 bits. This one has more.")
    if not code >> 63:
        raise ChipProblem("animal_number", "This code is not marked as an animal's chip.")
    text15 = f"{code >> 38 & 0x3FF:03d}{code & _HIGHEST_ID:012d}"
    if len(text15) != _LENGTH:
        raise ChipProblem("country", "The first part of this code is no country or manufacturer.")
    return _checked(text15, allow_test=allow_test)


def _digits(text: str) -> str:
    """Return the bare digits, or raise ChipProblem for what a spreadsheet or a slip left behind."""
    # NFKC makes full-width digits plain; control characters come from scanners and clipboards.
    plain = "".join(
        letter
        for letter in unicodedata.normalize("NFKC", text)
        if unicodedata.category(letter) not in ("Cc", "Cf")
    )
    plain = "".join(str(unicodedata.digit(sign)) if sign.isdecimal() else sign for sign in plain)
    plain = _PREFIX.sub("", plain.strip()).strip()
    if _ROUNDED.match(plain):
        raise ChipProblem(
            "rounded",
            "A spreadsheet has rounded this chip number, and its last digits are lost. "
            "Format the column as text and enter the number again from the papers.",
        )
    if _DECIMAL.match(plain):
        raise ChipProblem(
            "decimal",
            "A spreadsheet has turned this chip number into an amount with decimals. Format the "
            "column as text, and check that a zero in front is not lost.",
        )
    kept = "".join(
        sign
        for sign in plain
        if sign not in _SEPARATORS and unicodedata.category(sign) not in ("Pd", "Zs")
    )
    if not kept:
        raise ChipProblem("empty", "Enter the 15 digits of the chip.")
    strange = [sign for sign in kept if not sign.isdecimal()]
    if strange:
        hint = {"O": " Did you mean the digit 0?", "I": " Did you mean the digit 1?"}
        raise ChipProblem(
            "letters",
            f"A chip number has only digits. This has “{strange[0]}” in it."
            + hint.get(strange[0].upper(), ""),
        )
    return kept


def _too_short(digits: str) -> ChipProblem:
    padded = digits.zfill(_LENGTH)
    lost = _LENGTH - len(digits)
    if lost <= 2 and padded[:3] in _COUNTRIES and int(padded[3:]) <= _HIGHEST_ID:
        return ChipProblem(
            "lost_zero",
            f"A chip number has 15 digits. This has {len(digits)}. A spreadsheet may have dropped "
            f"the zero in front: compare {padded} with the papers and enter it in full.",
        )
    older = " Chips with 9 or 10 digits are older than the ISO standard: ask the registrar."
    return ChipProblem(
        "too_short",
        f"A chip number has 15 digits. This has {len(digits)}. Enter it again from the papers "
        "or scan it." + (older if len(digits) in (9, 10) else ""),
    )


def _checked(text15: str, *, allow_test: bool) -> Chip:
    first = text15[:3]
    if int(first) == _TEST and not allow_test:
        raise ChipProblem(
            "test", "Numbers that begin with 999 are for testing readers. Scan the dog's own chip."
        )
    is_manufacturer = int(first) >= _FIRST_MANUFACTURER
    if not is_manufacturer and first not in _COUNTRIES:
        raise ChipProblem(
            "country",
            f"No country or manufacturer has the code {first}. Check the first three digits.",
        )
    if int(text15[3:]) > _HIGHEST_ID:
        raise ChipProblem(
            "animal_number",
            f"The last twelve digits can be at most {_HIGHEST_ID}. Check them once more.",
        )
    return Chip(text15, first, is_manufacturer)
