"""Chip numbers against ISO 11784: the fifteen digits and the 64 bits."""

import pytest

from registry.science.microchip import ChipProblem, from_code64, parse_chip, to_code64
from tests.published.cases import topic

LAYOUT = topic("standards")["iso11784-layout"]
TEXT = topic("standards")["iso11784-text"]
CODES = list(
    zip(
        LAYOUT["inputs"]["cases"],
        LAYOUT["expected"]["hex"],
        LAYOUT["expected"]["text15"],
        strict=True,
    )
)


@pytest.mark.parametrize("text", TEXT["inputs"]["valid"])
def test_a_sound_number_is_accepted_as_text(text: str) -> None:
    # ISO 11784 / ISO 24631-6, confirmed.
    assert parse_chip(text).text15 == text


@pytest.mark.parametrize("text", TEXT["inputs"]["test"])
def test_a_test_number_is_refused_unless_allowed(text: str) -> None:
    # ISO 11784: 999 marks test transponders, confirmed.
    with pytest.raises(ChipProblem) as problem:
        parse_chip(text)

    assert problem.value.code == "test"
    assert parse_chip(text, allow_test=True).text15 == text


@pytest.mark.parametrize(
    ("case", "code"),
    [
        ("too_short", "too_short"),
        ("too_long", "too_long"),
        ("letters", "letters"),
        ("id_overflow", "animal_number"),
        ("country_000", "country"),
        ("unassigned_country", "country"),
        ("empty", "empty"),
    ],
)
def test_an_impossible_number_is_refused_with_its_reason(case: str, code: str) -> None:
    # ISO 11784 / ISO 24631-6, confirmed.
    with pytest.raises(ChipProblem) as problem:
        parse_chip(TEXT["inputs"]["invalid"][case])

    assert problem.value.code == code
    assert set(TEXT["inputs"]["invalid"]) == {
        "too_short", "too_long", "letters", "id_overflow", "country_000", "unassigned_country",
        "empty",
    }  # fmt: skip


@pytest.mark.parametrize(("bits", "hexadecimal", "text15"), CODES)
def test_the_64_bits_are_laid_out_as_published(
    bits: list[int], hexadecimal: str, text15: str
) -> None:
    # ISO 11784:1996 and later editions, confirmed.
    _, data_flag, _, _ = bits
    chip = parse_chip(text15)

    assert f"{to_code64(chip, has_data_block=bool(data_flag)):016X}" == hexadecimal
    assert from_code64(int(hexadecimal, 16)) == chip


def test_the_largest_number_of_an_animal_fills_38_bits() -> None:
    # ISO 11784, confirmed.
    largest = LAYOUT["expected"]["max_id"]

    assert parse_chip(f"276{largest}").text15 == f"276{largest}"
    assert largest == 2**38 - 1
