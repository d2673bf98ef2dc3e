"""Counting all breeds anew, against the same rules written out row by row."""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.counting import (
    Difference,
    cells_from_values,
    counted_values,
    first_difference,
    histograms,
    latest_per_dog,
)
from registry.science.distribution import Histogram

TIGHT_IS_BETTER, WIDE_IS_BETTER = 1, 2


def make_readings(*rows: dict[str, Any]) -> pd.DataFrame:
    """Return a table of readings; what a row does not say is the same for all."""
    usual = {
        "dog": 1,
        "evaluation": 1,
        "breed": 5,
        "trait": TIGHT_IS_BETTER,
        "sex": "F",
        "examined": 20200115,
        "accepted": 1,
        "step": 40,
    }
    return pd.DataFrame([{**usual, **row} for row in rows], columns=list(usual))


# A few dogs with many examinations on few days, so that everything that can coincide does.
EXAMS = st.lists(
    st.tuples(
        st.integers(1, 4),  # dog
        st.sampled_from([20200115, 20200131, 20200201, 20210301]),  # examined
        st.sets(st.sampled_from([TIGHT_IS_BETTER, WIDE_IS_BETTER]), min_size=1),  # traits
        st.integers(30, 36),  # left
        st.integers(30, 36),  # right
    ),
    max_size=15,
).flatmap(
    lambda exams: st.permutations(range(len(exams))).map(
        lambda order: [(number + 1, *exam) for number, exam in zip(order, exams, strict=True)]
    )
)


def readings_of(exams: list[tuple[Any, ...]]) -> pd.DataFrame:
    return make_readings(
        *(
            {
                "dog": dog,
                "evaluation": number + 100,
                "breed": 5 + dog % 2,
                "trait": trait,
                "sex": "FM"[dog % 2],
                "examined": examined,
                "accepted": number,
                "step": step,
            }
            for number, dog, examined, traits, left, right in exams
            for trait in sorted(traits)
            for step in (left, right)
        )
    )


def values_by_hand(exams: list[tuple[Any, ...]]) -> dict[tuple[int, int], tuple[int, int, int]]:
    """Return (dog, trait) → (evaluation, month, step), one examination after the other."""
    counted: dict[tuple[int, int], tuple[int, int, int]] = {}
    latest: dict[tuple[int, int], tuple[int, int]] = {}
    for number, dog, examined, traits, left, right in exams:
        for trait in traits:
            if latest.get((dog, trait), (0, 0)) < (examined, number):
                latest[dog, trait] = (examined, number)
                worse = max(left, right) if trait == TIGHT_IS_BETTER else min(left, right)
                counted[dog, trait] = (number + 100, examined // 100, worse)
    return counted


@given(EXAMS)
def test_each_dog_counts_once_with_its_latest_examination_and_worse_side(
    exams: list[tuple[Any, ...]],
) -> None:
    values = counted_values(readings_of(exams), [TIGHT_IS_BETTER])

    found = {
        (row.dog, row.trait): (row.evaluation, row.month, row.step) for row in values.itertuples()
    }
    assert len(found) == len(values)
    assert found == values_by_hand(exams)


@given(EXAMS)
def test_cells_are_the_values_counted_one_by_one(exams: list[tuple[Any, ...]]) -> None:
    cells = cells_from_values(counted_values(readings_of(exams), [TIGHT_IS_BETTER]))

    by_hand: dict[tuple[Any, ...], int] = {}
    for (dog, trait), (_, month, step) in values_by_hand(exams).items():
        cell = (5 + dog % 2, trait, "FM"[dog % 2], month, step)
        by_hand[cell] = by_hand.get(cell, 0) + 1
    assert [tuple(row) for row in cells.itertuples(index=False)] == [
        (*cell, dogs) for cell, dogs in sorted(by_hand.items())
    ]


def test_the_later_of_two_examinations_counts_in_whatever_order_they_were_accepted() -> None:
    readings = make_readings(
        {"evaluation": 1, "examined": 20210301, "accepted": 1},
        {"evaluation": 2, "examined": 20200115, "accepted": 2},
    )

    assert latest_per_dog(readings).tolist() == [True, False]


def test_of_two_on_one_day_the_one_accepted_last_counts() -> None:
    readings = make_readings({"evaluation": 1, "accepted": 7}, {"evaluation": 2, "accepted": 3})

    assert latest_per_dog(readings).tolist() == [True, False]


def test_both_sides_of_the_examination_are_marked() -> None:
    assert latest_per_dog(make_readings({"step": 40}, {"step": 31})).tolist() == [True, True]


def test_equal_sides_make_one_value() -> None:
    values = counted_values(make_readings({"step": 40}, {"step": 40}), [TIGHT_IS_BETTER])

    assert values["step"].tolist() == [40]


def test_primary_keys_far_apart_are_no_problem() -> None:
    readings = make_readings(
        {"dog": 1, "breed": 1, "trait": 1}, {"dog": 2**31, "breed": 2**31, "trait": 2**15}
    )

    assert len(counted_values(readings, [])) == 2


def test_more_combinations_than_a_whole_number_can_tell_apart_are_refused() -> None:
    values = counted_values(
        make_readings({"dog": 1}, {"dog": 2, "breed": 2**40, "trait": 2**31}), []
    )

    with pytest.raises(ValueError, match="too many different values"):
        cells_from_values(values)


def test_nothing_counts_to_nothing() -> None:
    nothing = make_readings()

    assert latest_per_dog(nothing).tolist() == []
    assert len(cells_from_values(counted_values(nothing, [TIGHT_IS_BETTER]))) == 0
    assert histograms(make_cells(), date(2026, 11, 1), 120) == {}


def make_cells(*rows: tuple[int, int, str, int, int, int]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["breed", "trait", "sex", "month", "step", "dogs"])


def test_histograms_hold_the_months_of_the_window() -> None:
    cells = make_cells(
        (1, 1, "F", 201611, 30, 50),
        (1, 1, "F", 201612, 31, 1),
        (1, 1, "F", 202611, 33, 2),
        (1, 1, "F", 202612, 31, 50),
        (1, 1, "M", 202001, 40, 3),
        (2, 1, "F", 200001, 40, 3),
    )

    found = histograms(cells, date(2026, 11, 1), 120)

    assert found == {
        (1, 1, "F"): Histogram.of_counts({31: 1, 33: 2}),
        (1, 1, "M"): Histogram.of_counts({40: 3}),
    }


def test_equal_cells_have_no_difference_whatever_their_order() -> None:
    one = make_cells((1, 1, "F", 202001, 30, 5), (1, 1, "M", 202001, 30, 5))

    assert first_difference(one, one.iloc[::-1]) is None


@pytest.mark.parametrize(
    ("stored", "computed", "expected"),
    [
        ([(1, 1, "F", 202001, 30, 5)], [(1, 1, "F", 202001, 30, 4)], (5, 4)),
        ([(1, 1, "F", 202001, 30, 5)], [], (5, 0)),
        ([], [(1, 1, "F", 202001, 30, 4)], (0, 4)),
    ],
)
def test_the_first_differing_cell_is_named(
    stored: list[Any], computed: list[Any], expected: tuple[int, int]
) -> None:
    later = [(1, 1, "F", 202001, 31, 9)]

    found = first_difference(make_cells(*stored, *later), make_cells(*computed))

    assert found == Difference(1, 1, "F", 202001, 30, *expected)


def test_a_large_table_keeps_every_dog() -> None:
    chance = np.random.default_rng(11)
    dogs = chance.integers(1, 8_000, 20_000)
    readings = pd.DataFrame(
        {
            "dog": dogs,
            "evaluation": np.arange(20_000),
            "breed": dogs % 7,
            "trait": 1,
            "sex": np.where(dogs % 2, "F", "M"),
            "examined": 20200101 + chance.integers(0, 28, 20_000),
            "accepted": chance.permutation(20_000),
            "step": chance.integers(20, 90, 20_000),
        }
    )

    cells = cells_from_values(counted_values(readings, [1]))

    assert cells["dogs"].sum() == len(np.unique(dogs))
