"""Chip numbers as people type, paste and scan them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.microchip import (
    Chip,
    ChipProblem,
    from_code64,
    parse_chip,
    slips,
    to_code64,
)

CHIP = "276098100000001"
CHIPS = st.builds(
    lambda first, animal: f"{first}{animal:012d}",
    st.sampled_from(["004", "040", "276", "756", "826", "900", "968", "998"]),
    st.integers(0, 2**38 - 1),
)


def problem_of(text: str) -> ChipProblem:
    with pytest.raises(ChipProblem) as problem:
        parse_chip(text)
    return problem.value


@pytest.mark.parametrize(
    "text",
    [
        "276 098 100 000 001",
        "276.098.100.000.001",
        "276-0981-0000-0001",
        "276–098–100000001",
        " 276098100000001\r\n",
        "\ufeff276098100000001",
        "276\u00a0098\u2009100\u200b000001",
        "chip: 276098100000001",
        "Chip no. 276098100000001",
        "Microchip Nr. 276 098100000001",
        "micro-chip #276098100000001",
        "ISO 276098100000001",
        "ISO 11784/11785: 276098100000001",
        "#276098100000001",
        "№ 276098100000001",
        "'276098100000001",
        "２７６０９８１０００００００１",
        "٢٧٦٠٩٨١٠٠٠٠٠٠٠١",
    ],
)
def test_what_stands_around_the_digits_is_left_out(text: str) -> None:
    assert parse_chip(text).text15 == CHIP


def test_a_chip_says_whether_a_country_or_a_manufacturer_gave_it() -> None:
    assert parse_chip(CHIP) == Chip(CHIP, "276", is_manufacturer=False)
    assert parse_chip("968000004531234") == Chip("968000004531234", "968", is_manufacturer=True)
    assert str(parse_chip(CHIP)) == CHIP


@pytest.mark.parametrize(
    "text", ["9.85E+14", "9,85E+14", "9.85e14", "2.76098E+14", "2.76098100000001E+14", "9E+14"]
)
def test_a_number_a_spreadsheet_has_rounded_is_never_repaired(text: str) -> None:
    problem = problem_of(text)

    assert problem.code == "rounded"
    assert "Format the column as text" in str(problem)


@pytest.mark.parametrize("text", [f"{CHIP}.0", f"{CHIP},00", "40098100111917.0"])
def test_a_number_with_decimals_is_named_as_a_spreadsheets_work(text: str) -> None:
    assert problem_of(text).code == "decimal"


def test_a_lost_zero_is_suspected_and_shown_but_not_added() -> None:
    problem = problem_of("40098100111917")

    assert problem.code == "lost_zero"
    assert "040098100111917" in str(problem)


def test_two_lost_zeros_are_suspected_too() -> None:
    assert "004098100111917" in str(problem_of("4098100111917"))


def test_a_short_number_that_no_zero_can_mend_is_only_short() -> None:
    assert problem_of("27609810000001").code == "too_short"


@pytest.mark.parametrize("text", ["123456789", "1234567890"])
def test_older_chips_are_explained(text: str) -> None:
    problem = problem_of(text)

    assert problem.code == "too_short"
    assert "older than the ISO standard" in str(problem)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("27609810000000O", "digit 0"),
        ("27609810000000l", "has only digits"),
        ("27609810000000I", "digit 1"),
        ("not known", "has only digits"),
    ],
)
def test_letters_are_named(text: str, hint: str) -> None:
    problem = problem_of(text)

    assert problem.code == "letters"
    assert hint in str(problem)


@pytest.mark.parametrize("text", ["", "   ", "chip", "ISO", "-", "#", "\u200b"])
def test_nothing_is_empty(text: str) -> None:
    assert problem_of(text).code == "empty"


def test_two_scans_run_together_are_too_long() -> None:
    assert problem_of(CHIP + CHIP).code == "too_long"


@given(st.text(max_size=40))
def test_any_text_gives_a_chip_or_a_problem(text: str) -> None:
    try:
        chip = parse_chip(text)
    except ChipProblem:
        return

    assert len(chip.text15) == 15
    assert chip.text15.isascii()
    assert chip.text15.isdecimal()


@given(CHIPS)
def test_64_bits_and_back(text15: str) -> None:
    chip = parse_chip(text15)

    assert from_code64(to_code64(chip)) == chip
    assert from_code64(to_code64(chip, has_data_block=True)) == chip


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        (1 << 64, "too_long"),
        (-1, "too_long"),
        (276 << 38, "animal_number"),
        (1 << 63 | 1023 << 38, "country"),
        (1 << 63 | 899 << 38, "country"),
        (1 << 63 | 999 << 38, "test"),
    ],
)
def test_bits_that_are_no_animals_chip_are_refused(code: int, expected: str) -> None:
    with pytest.raises(ChipProblem) as problem:
        from_code64(code)

    assert problem.value.code == expected


def test_slips_are_every_changed_digit_and_every_swapped_pair() -> None:
    near = slips("276098123456789")

    # 15 places with 9 other digits each, and 14 pairs of neighbours that all differ.
    assert len(near) == 15 * 9 + 14
    assert "276098123456788" in near
    assert "726098123456789" in near
    assert "276098123456798" in near
    assert "276098123456789" not in near


def test_equal_neighbours_cannot_be_swapped() -> None:
    assert len(slips("000000000000000")) == 15 * 9


@given(CHIPS, st.data())
def test_a_slip_leads_back_to_the_chip(text15: str, data: st.DataObject) -> None:
    slipped = data.draw(st.sampled_from(sorted(slips(text15))))

    assert text15 in slips(slipped)
