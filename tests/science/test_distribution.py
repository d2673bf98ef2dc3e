"""The histogram: exact, trimmed, additive, and the same after storage."""

from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.distribution import Histogram, first_month, month_number, window

STEPS = st.lists(st.integers(-40, 160), max_size=60)
SOME_STEPS = st.lists(st.integers(-40, 160), min_size=1, max_size=60)
SHARES = st.one_of(st.floats(0, 1), st.sampled_from([0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0]))


@given(STEPS)
def test_dogs_are_counted_by_step(steps: list[int]) -> None:
    histogram = Histogram.of_steps(steps)

    assert histogram.n == len(steps)
    assert dict(histogram.rows()) == {step: steps.count(step) for step in sorted(set(steps))}


@given(STEPS, st.integers(-50, 170))
def test_below_at_and_above_part_all_dogs(steps: list[int], step: int) -> None:
    histogram = Histogram.of_steps(steps)

    assert histogram.below(step) == sum(other < step for other in steps)
    assert histogram.at(step) == sum(other == step for other in steps)
    assert histogram.above(step) == sum(other > step for other in steps)


@given(STEPS, STEPS)
def test_adding_one_by_one_equals_counting_at_once(before: list[int], more: list[int]) -> None:
    histogram = Histogram.of_steps(before)
    for step in more:
        histogram = histogram.add(step)

    assert histogram == Histogram.of_steps(before + more)


@given(SOME_STEPS, st.data())
def test_removing_a_dog_undoes_adding_it(steps: list[int], data: st.DataObject) -> None:
    histogram = Histogram.of_steps(steps)
    added = data.draw(st.integers(-60, 180))
    removed = data.draw(st.sampled_from(steps))

    assert histogram.add(added).remove(added) == histogram
    assert histogram.remove(removed).add(removed) == histogram


@given(STEPS, STEPS, STEPS)
def test_tables_of_several_clubs_add_up_in_any_order(
    one: list[int], two: list[int], three: list[int]
) -> None:
    parts = [Histogram.of_steps(steps) for steps in (one, two, three)]

    assert parts[0].merge(parts[1]).merge(parts[2]) == Histogram.of_steps(one + two + three)
    assert parts[2].merge(parts[0].merge(parts[1])) == Histogram.of_steps(one + two + three)


@given(SOME_STEPS, SHARES)
def test_a_quantile_is_numpys_on_the_dogs_themselves(steps: list[int], share: float) -> None:
    expected = np.quantile(steps, share, method="linear")

    assert Histogram.of_steps(steps).quantile(share) == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.integers(-40, 160), min_size=2, max_size=60))
def test_mean_and_sd_are_numpys_on_the_dogs_themselves(steps: list[int]) -> None:
    histogram = Histogram.of_steps(steps)
    values = np.array(steps) * 0.5

    assert histogram.mean(Decimal("0.5")) == pytest.approx(values.mean(), abs=1e-9)
    assert histogram.sd(Decimal("0.5")) == pytest.approx(values.std(ddof=1), abs=1e-9)


@given(
    st.dictionaries(
        st.integers(-40, 160), st.sampled_from([1, 255, 256, 65_535, 65_536, 2**32 - 1, 2**32])
    )
)
def test_packing_loses_nothing_and_gives_the_same_bytes(counts: dict[int, int]) -> None:
    histogram = Histogram.of_counts(counts)
    in_other_order = Histogram.of_counts(list(reversed(counts.items())))

    packed = histogram.pack()

    assert Histogram.unpack(packed) == histogram
    assert Histogram.unpack(memoryview(packed)) == histogram
    assert in_other_order.pack() == packed


@given(STEPS, STEPS)
def test_packed_bytes_are_equal_only_for_equal_distributions(
    one: list[int], two: list[int]
) -> None:
    same = sorted(one) == sorted(two)

    assert (Histogram.of_steps(one).pack() == Histogram.of_steps(two).pack()) is same
    assert (Histogram.of_steps(one) == Histogram.of_steps(two)) is same


def test_a_large_breed_packs_into_a_few_hundred_bytes() -> None:
    steps = np.random.default_rng(5).normal(45, 12, 170_000).clip(5, 120).astype(int)

    packed = Histogram(0, np.bincount(steps)).pack()

    assert len(packed) < 300


@pytest.mark.parametrize(
    "packed",
    [
        b"",
        b"\x01\x01",
        b"\x02\x01\x00\x00\x00\x00\x01",
        b"\x01\x03\x00\x00\x00\x00\x01\x01\x01",
        b"\x01\x02\x00\x00\x00\x00\x01",
        b"\x01\x08\x00\x00\x00\x00" + b"\xff" * 8,
    ],
)
def test_bytes_that_are_no_histogram_are_refused(packed: bytes) -> None:
    with pytest.raises(ValueError, match=r"packed histogram|counts"):
        Histogram.unpack(packed)


def test_empty_ends_are_trimmed() -> None:
    padded = Histogram(10, np.array([0, 0, 3, 0, 1, 0]))

    assert padded.first_step == 12
    assert padded.last_step == 14
    assert padded.counts.tolist() == [3, 0, 1]
    assert padded == Histogram.of_counts({12: 3, 14: 1})
    assert hash(padded) == hash(Histogram.of_counts({12: 3, 14: 1}))


def test_no_dogs_is_one_value_however_it_came_about() -> None:
    assert Histogram.of_steps([7]).remove(7) == Histogram.empty() == Histogram(99, np.zeros(4, int))
    assert Histogram.empty().n == 0
    assert Histogram.unpack(Histogram.empty().pack()) == Histogram.empty()


def test_a_dog_that_is_not_counted_cannot_be_removed() -> None:
    histogram = Histogram.of_counts({12: 3})

    for step, dogs in ((11, 1), (13, 1), (12, 4), (12, 0), (12, -1)):
        with pytest.raises(ValueError, match="are counted at step"):
            histogram.remove(step, dogs)


def test_a_histogram_cannot_be_changed_in_place() -> None:
    given_counts = np.array([1, 2, 3])
    histogram = Histogram(0, given_counts)

    given_counts[0] = 9
    with pytest.raises(ValueError, match="read-only"):
        histogram.counts[0] = 9

    assert histogram.counts.tolist() == [1, 2, 3]


@pytest.mark.parametrize("counts", [[-1, 2], [[1, 2], [3, 4]]])
def test_impossible_counts_are_refused(counts: list[int]) -> None:
    with pytest.raises(ValueError, match="counts must be"):
        Histogram(0, np.array(counts))


def test_values_absurdly_far_apart_are_refused_before_memory_is_taken() -> None:
    with pytest.raises(ValueError, match="steps apart"):
        Histogram.of_steps([0, 10**12])
    with pytest.raises(ValueError, match="steps apart"):
        Histogram.of_steps([0]).add(10**9)
    with pytest.raises(ValueError, match="steps apart"):
        Histogram(0, np.ones(100_001, int))


def test_too_few_dogs_have_no_moments() -> None:
    with pytest.raises(ValueError, match="mean"):
        Histogram.empty().mean()
    with pytest.raises(ValueError, match="two dogs"):
        Histogram.of_steps([5]).sd()
    with pytest.raises(ValueError, match="quantile"):
        Histogram.empty().quantile(0.5)
    with pytest.raises(ValueError, match="quantile"):
        Histogram.of_steps([5]).quantile(1.01)


def test_a_histogram_is_never_equal_to_something_else() -> None:
    assert Histogram.empty() != (0, ())


def test_months_count_on_over_the_new_year() -> None:
    assert month_number(date(2026, 1, 31)) == month_number(date(2025, 12, 1)) + 1


@pytest.mark.parametrize(
    ("last_month", "months", "first"),
    [
        (date(2026, 11, 1), 1, date(2026, 11, 1)),
        (date(2026, 11, 25), 120, date(2016, 12, 1)),
        (date(2026, 12, 1), 12, date(2026, 1, 1)),
        (date(2026, 1, 1), 2, date(2025, 12, 1)),
    ],
)
def test_a_window_begins_so_many_months_back(last_month: date, months: int, first: date) -> None:
    assert first_month(last_month, months) == first


def test_a_window_without_months_is_refused() -> None:
    with pytest.raises(ValueError, match="one month or more"):
        first_month(date(2026, 11, 1), 0)


def test_a_window_holds_its_first_and_last_month_and_nothing_outside() -> None:
    rows = [
        (date(2016, 11, 1), 10, 100),
        (date(2016, 12, 1), 11, 1),
        (date(2020, 5, 1), 12, 2),
        (date(2026, 11, 1), 11, 4),
        (date(2026, 12, 1), 13, 100),
    ]

    assert window(rows, date(2026, 11, 1), 120) == Histogram.of_counts({11: 5, 12: 2})


@given(
    st.lists(
        st.tuples(st.dates(date(2015, 1, 1), date(2026, 12, 31)), st.integers(0, 40)), max_size=40
    ),
    st.integers(1, 150),
)
def test_sliding_by_a_month_takes_one_month_in_and_one_out(
    exams: list[tuple[date, int]], months: int
) -> None:
    rows = [(day.replace(day=1), step, 1) for day, step in exams]
    last_month, next_month = date(2024, 12, 1), date(2025, 1, 1)

    slid = window(rows, next_month, months)

    gone = window(rows, first_month(last_month, months), 1)
    come = window(rows, next_month, 1)
    assert slid.merge(gone) == window(rows, last_month, months).merge(come)
