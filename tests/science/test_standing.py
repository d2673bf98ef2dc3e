"""Where a dog stands among the others, and that the numbers of a sentence hold what they say."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.distribution import Histogram
from registry.science.intervals import wilson
from registry.science.standing import (
    FEWEST_TO_COMPARE,
    Span,
    Spoken,
    Standing,
    joined,
    others,
    second_exam,
    spoken,
    standing,
)

BREEDS = st.dictionaries(st.integers(20, 60), st.integers(1, 60), min_size=1, max_size=25).map(
    Histogram.of_counts
)
SMALL = (*range(1, 61), 99, 100)
LARGE = (399, 400, 1000, 2399, 2400, 2500, 10_000)


def every_standing(n: int) -> Iterator[Standing]:
    """Every way to stand among so many dogs."""
    for better in range(n + 1):
        for equal in range(n - better + 1):
            yield Standing.of(better, equal, n - better - equal)


def standings_among_many(n: int) -> Iterator[Standing]:
    """Every number of better dogs, with no, few, many and nearly all equals."""
    for better in range(n + 1):
        rest = n - better
        for equal in {0, 1, 2, rest // 3, rest // 2, rest - 1, rest, rest - better}:
            if 0 <= equal <= rest:
                yield Standing.of(better, equal, rest - equal)


@given(BREEDS, st.data())
def test_every_other_dog_is_better_equal_or_worse(breed: Histogram, data: st.DataObject) -> None:
    step = data.draw(st.sampled_from([step for step, _dogs in breed.rows()]))

    place = standing(others(breed, step, own_is_inside=True), step, "lower")

    assert place.better + place.equal + place.worse == place.n == breed.n - 1


@given(BREEDS, st.integers(15, 65))
def test_turning_the_scale_turns_the_standing(breed: Histogram, step: int) -> None:
    low, high = standing(breed, step, "lower"), standing(breed, step, "higher")

    assert (low.better, low.equal, low.worse) == (high.worse, high.equal, high.better)
    if low.share is not None and high.share is not None:
        assert low.share + high.share == pytest.approx(1)


def test_the_dog_itself_is_not_one_of_its_equals() -> None:
    breed = Histogram.of_counts([(30, 24), (40, 1), (50, 76)])

    place = standing(others(breed, 40, own_is_inside=True), 40, "lower")

    assert (place.better, place.equal, place.worse, place.n) == (24, 0, 76, 100)
    assert place.share == pytest.approx(0.24)
    assert (place.low, place.high) == wilson(24, 100)


def test_a_dog_that_is_not_counted_takes_nobody_out() -> None:
    breed = Histogram.of_counts([(30, 24), (40, 1), (50, 76)])

    assert standing(others(breed, 40, own_is_inside=False), 40, "lower").n == 101


def test_a_dog_that_is_said_to_be_counted_and_is_not_is_an_error() -> None:
    with pytest.raises(ValueError, match="0 dogs"):
        others(Histogram.of_counts([(30, 24)]), 40, own_is_inside=True)


def test_under_twenty_others_there_is_no_share_to_show() -> None:
    few, enough = Standing.of(9, 1, 9), Standing.of(9, 1, 10)

    assert few.too_few
    assert (few.share, few.low, few.high) == (None, None, None)
    assert spoken(few) is None
    assert not enough.too_few
    assert enough.share is not None
    assert spoken(enough) is not None


def test_no_dogs_at_all_is_too_few() -> None:
    assert standing(Histogram.empty(), 40, "lower") == Standing(0, 0, 0, 0, None, None, None)


class TestWholeNumbers:
    """Every possible standing in small breeds; every number of better dogs in large ones."""

    @pytest.mark.parametrize("n", SMALL)
    def test_small_breeds(self, n: int) -> None:
        for place in every_standing(n):
            _hold(place, spoken(place))

    @pytest.mark.parametrize("n", LARGE)
    def test_large_breeds(self, n: int) -> None:
        for place in standings_among_many(n):
            _hold(place, spoken(place))

    @pytest.mark.parametrize("n", [20, 56, 99, 100, 399, 400, 2500, 10_000])
    def test_a_number_is_never_outside_or_at_the_end_of_its_interval(self, n: int) -> None:
        for better in range(n + 1):
            for reach in (0, 1, n // 50, n // 5):
                second = Span(max(better - reach, 0), min(better + reach, n))
                _hold_the_interval(Standing.of(better, 0, n - better), second)

    @pytest.mark.parametrize(
        ("n", "of", "precision"),
        [(20, 20, 1), (99, 99, 1), (100, 100, 5), (2399, 100, 5), (2400, 100, 1)],
    )
    def test_the_rounding_follows_the_number_of_dogs(self, n: int, of: int, precision: int) -> None:
        words = spoken(Standing.of(n // 3, 1, n - 1 - n // 3))

        assert words is not None
        assert (words.of, words.precision) == (of, precision)

    def test_ones_are_said_only_where_the_interval_is_narrow(self) -> None:
        place = Standing.of(3000, 0, 7000)

        narrow, wide = spoken(place, Span(2950, 3050)), spoken(place, Span(2500, 3600))

        assert narrow is not None
        assert wide is not None
        assert (narrow.better, narrow.precision) == (30, 1)
        assert (wide.better, wide.precision, wide.low, wide.high) == (30, 5, 25, 40)

    def test_a_quarter_of_56_is_14_of_56(self) -> None:
        words = spoken(Standing.of(14, 0, 42))

        assert words is not None
        assert (words.better, words.same, words.worse, words.of) == (14, 0, 42, 56)

    def test_a_half_goes_away_from_the_middle(self) -> None:
        # 12.5 and 87.5 of 100.
        words = spoken(Standing.of(25, 0, 175))

        assert words is not None
        assert (words.better, words.same, words.worse) == (10, 0, 90)

    def test_the_two_sides_get_their_nearest_number(self) -> None:
        # 11.7 and 86.7 of 100.
        said = spoken(Standing.of(101, 14, 747))

        assert said and (said.better, said.same, said.worse) == (10, 5, 85)

    def test_nearly_all_the_same_is_nearly_100(self) -> None:
        # 0.25, 99.5 and 0.25 of 100.
        words = spoken(Standing.of(1, 398, 1))

        assert words is not None
        assert (words.better, words.same, words.worse) == (0, 100, 0)


def _hold(place: Standing, words: Spoken | None) -> None:
    """What must be true of the whole numbers of any standing."""
    if words is None:
        assert place.n < FEWEST_TO_COMPARE
        return
    said = (words.better, words.same, words.worse)
    true = [words.of * count / place.n for count in words.counts]
    assert sum(said) == words.of, place
    assert min(said) >= 0, place
    assert all(number % words.precision == 0 for number in said), place
    assert all(
        abs(number - exact) <= words.precision for number, exact in zip(said, true, strict=True)
    ), place
    # A side that has nobody is nobody, and a rounded one is less than a unit off.
    assert all(not number or count for number, count in zip(said, words.counts, strict=True)), place
    for number, exact in ((words.better, true[0]), (words.worse, true[2])):
        assert abs(number - exact) < words.precision, place
    if place.better == place.worse:
        assert words.better == words.worse, place
    if place.better < place.worse:
        assert words.better <= words.worse, place
    mirrored = spoken(Standing.of(place.worse, place.equal, place.better))
    assert mirrored is not None
    assert (mirrored.better, mirrored.same, mirrored.worse) == said[::-1], place
    if words.is_exact:
        assert said == (place.better, place.equal, place.worse)


def _hold_the_interval(place: Standing, second: Span) -> None:
    words = spoken(place, second)
    assert words is not None
    assert words.low is not None
    assert words.high is not None
    assert 0 <= words.low <= words.better <= words.high <= words.of
    assert words.low < words.better or words.better == 0, place
    assert words.better < words.high or words.better == words.of, place
    low, high = joined(place, second)
    assert words.low <= words.of * low + 1e-6
    assert words.of * high <= words.high + 1e-6


class TestSecondExam:
    def test_it_reaches_as_far_as_two_exams_of_one_dog_differ(self) -> None:
        # One dog a step: 2 steps of SD, so 1.96 x 1.414 x 2 = 5.54 steps, outwards 6.
        breed = Histogram.of_steps(range(100))

        assert second_exam(breed, 50, "lower", sd_steps=2) == Span(44, 56)
        assert second_exam(breed, 50, "higher", sd_steps=2) == Span(43, 55)

    def test_without_error_it_is_the_dogs_own_place(self) -> None:
        breed = Histogram.of_steps(range(100))

        assert second_exam(breed, 50, "lower", sd_steps=0) == Span(50, 50)

    def test_beyond_the_breed_everybody_or_nobody_is_better(self) -> None:
        breed = Histogram.of_steps(range(40, 60))

        assert second_exam(breed, 50, "lower", sd_steps=30) == Span(0, 20)

    def test_joined_with_the_chance_of_who_was_tested(self) -> None:
        # Wilson for 250 of 1,000: 22.4 to 27.8 of 100.
        place = Standing.of(250, 0, 750)

        assert joined(place, Span(240, 300)) == (wilson(250, 1000)[0], 0.3)
        assert joined(place, Span(200, 250)) == (0.2, wilson(250, 1000)[1])


@pytest.mark.parametrize(("count", "n"), [(1, 0), (-1, 20), (21, 20)])
def test_a_share_outside_0_to_1_is_refused(count: float, n: int) -> None:
    with pytest.raises(ValueError, match="share"):
        wilson(count, n)


@given(st.integers(1, 500), st.data())
def test_an_interval_holds_its_share(n: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, n))

    low, high = wilson(count, n)

    assert 0 <= low <= count / n <= high <= 1
    assert wilson(n - count, n) == pytest.approx((1 - high, 1 - low))
