"""Certificate numbers: read as a person types them, and every slip caught."""

import itertools
import random
import secrets

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.numbers import (
    ALPHABET,
    LENGTH,
    NumberProblem,
    format_number,
    make_number,
    parse_number,
)


def number_from(*body: int) -> str:
    """Return the number whose first nine symbols have these values."""
    values = iter(body)
    return make_number(lambda _: next(values))


NUMBERS = st.lists(st.integers(0, 30), min_size=9, max_size=9).map(lambda body: number_from(*body))


def code_of(text: str) -> str:
    with pytest.raises(NumberProblem) as problem:
        parse_number(text)
    return problem.value.code


def test_the_alphabet_has_31_symbols_and_no_lookalikes() -> None:
    assert len(set(ALPHABET)) == len(ALPHABET) == 31
    assert not set("ILOSU") & set(ALPHABET)


def test_a_new_number_is_ten_symbols_and_sound() -> None:
    number = make_number(secrets.randbelow)

    assert len(number) == LENGTH
    assert set(number) <= set(ALPHABET)
    assert parse_number(number) == number


def test_all_nine_free_symbols_come_from_the_given_randomness() -> None:
    asked: list[int] = []

    def count(below: int) -> int:
        asked.append(below)
        return len(asked)

    number = make_number(count)

    assert asked == [31] * 9
    assert [ALPHABET.index(symbol) for symbol in number[:9]] == list(range(1, 10))


def test_every_changed_symbol_is_caught() -> None:
    generator = random.Random(31)
    for _ in range(40):
        number = make_number(generator.randrange)
        for at, symbol in itertools.product(range(LENGTH), ALPHABET):
            if symbol != number[at]:
                assert code_of(number[:at] + symbol + number[at + 1 :]) == "check"


def test_every_swapped_pair_of_neighbours_is_caught() -> None:
    # Every pair of different symbols at every pair of neighbouring places but the last, whose
    # second symbol is not free; that one is taken from numbers that end in every pair.
    for first, second in itertools.permutations(range(31), 2):
        for at in range(8):
            body = [0] * 9
            body[at], body[at + 1] = first, second
            number = number_from(*body)
            swapped = number[:at] + number[at + 1] + number[at] + number[at + 2 :]
            assert code_of(swapped) == "check"


def test_a_swap_with_the_check_symbol_is_caught() -> None:
    seen = set()
    for first, ninth in itertools.product(range(31), repeat=2):
        number = number_from(first, 0, 0, 0, 0, 0, 0, 0, ninth)
        if number[8] != number[9]:
            seen.add(number[8:])
            assert code_of(number[:8] + number[9] + number[8]) == "check"

    assert len(seen) == 31 * 30


@given(NUMBERS, st.integers(0, 9), st.integers(0, 9))
def test_any_two_different_symbols_swapped_are_caught(number: str, one: int, two: int) -> None:
    swapped = list(number)
    swapped[one], swapped[two] = swapped[two], swapped[one]

    if number[one] != number[two]:
        assert code_of("".join(swapped)) == "check"


@given(NUMBERS, st.randoms(use_true_random=False))
def test_case_gaps_and_lookalikes_do_not_matter(number: str, chance: random.Random) -> None:
    lookalikes = {"1": "1IiLl", "0": "0Oo", "5": "5Ss", "V": "VvUu"}
    typed = "".join(
        chance.choice(lookalikes.get(symbol, symbol + symbol.lower()))
        + chance.choice(["", "", " ", "-", ".", "–", "\u00a0", "\u200b"])
        for symbol in number
    )

    assert parse_number(f"  {typed}\n") == number


def test_full_width_letters_and_digits_are_read() -> None:
    number = number_from(7, 19, 2, 20, 22, 23, 4, 28, 3)
    wide = "".join(chr(ord(symbol) + 0xFEE0) for symbol in number)

    assert parse_number(wide) == number


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "empty"),
        (" - ", "empty"),
        ("7K2MQP4X3", "too_short"),
        ("7K2MQP4X3D7", "too_long"),
        ("7K2MQP4X3é", "letter"),
        ("7K2MQP*X3D", "letter"),
    ],
)
def test_what_is_wrong_is_said(text: str, code: str) -> None:
    assert code_of(text) == code


def test_the_message_of_a_slip_says_what_to_do() -> None:
    number = number_from(1, 2, 3, 4, 5, 6, 7, 8, 9)
    slipped = "X" + number[1:]

    with pytest.raises(NumberProblem, match=r"One letter or digit looks wrong.*Compare"):
        parse_number(slipped)


@given(NUMBERS)
def test_the_printed_groups_read_back(number: str) -> None:
    printed = format_number(number)

    assert [len(group) for group in printed.split("-")] == [3, 4, 3]
    assert parse_number(printed) == number


@given(st.text(max_size=20))
def test_any_text_gives_a_number_or_a_problem(text: str) -> None:
    try:
        number = parse_number(text)
    except NumberProblem:
        return

    assert set(number) <= set(ALPHABET)
    assert len(number) == LENGTH
