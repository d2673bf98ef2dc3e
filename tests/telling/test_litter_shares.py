"""The share of the puppies tested, and when a forecast has to name it."""

from __future__ import annotations

from registry.queries.litter_shares import BirthYear
from registry.telling.litter_shares import caution, year_rows


def _years(*years: tuple[int, int, int]) -> list[BirthYear]:
    return [BirthYear(*each) for each in years]


def test_few_tested_puppies_are_named_beside_a_forecast() -> None:
    years = _years((2021, 100, 20), (2025, 100, 56))

    assert caution(years, 2026) == (
        "Of 100 puppies born 2021 to 2025, about 38 were tested.",
        "If owners kept back the worse ones, puppies turn out worse than forecast.",
    )


def test_where_half_were_tested_nothing_is_said() -> None:
    assert caution(_years((2024, 100, 50)), 2026) == ()


def test_the_year_that_runs_and_years_long_ago_are_not_judged() -> None:
    years = _years((2020, 500, 0), (2024, 100, 80), (2026, 500, 0))

    assert caution(years, 2026) == ()


def test_below_twenty_puppies_nothing_is_said() -> None:
    assert caution(_years((2024, 19, 0)), 2026) == ()


def test_ten_years_are_shown_newest_first_and_few_puppies_without_a_share() -> None:
    rows = year_rows(_years((2016, 30, 3), (2017, 30, 3), (2026, 19, 1)), 2026)

    assert rows == [["2026", "19", "1", ""], ["2017", "30", "3", "10"]]
