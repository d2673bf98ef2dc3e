"""Where a dog stands, and that the numbers of a sentence add up."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.distribution import Histogram
from registry.science.intervals import wilson
from registry.science.standing import Standing, in_hundred, standing

BREEDS = st.dictionaries(st.integers(20, 60), st.integers(1, 60), min_size=1, max_size=25).map(
    Histogram.of_counts
)


def make_standing(better: int, equal: int, worse: int) -> Standing:
    """Return the standing of a dog in a breed with so many dogs on each side of it."""
    breed = Histogram.of_counts([(30, better), (40, equal), (50, worse)])
    return standing(breed, 40, "lower")


@given(BREEDS, st.data())
def test_every_dog_is_better_equal_or_worse(breed: Histogram, data: st.DataObject) -> None:
    step = data.draw(st.integers(15, 65))

    place = standing(breed, step, "lower")

    assert place.better + place.equal + place.worse == place.n == breed.n


@given(BREEDS, st.integers(15, 65))
def test_turning_the_scale_turns_the_standing(breed: Histogram, step: int) -> None:
    low, high = standing(breed, step, "lower"), standing(breed, step, "higher")

    assert (low.better, low.equal, low.worse) == (high.worse, high.equal, high.better)
    if low.share is not None and high.share is not None:
        assert low.share + high.share == pytest.approx(1)


def test_the_dog_itself_is_one_of_its_equals() -> None:
    place = make_standing(24, 1, 75)

    assert (place.better, place.equal, place.worse) == (24, 1, 75)
    assert place.share == pytest.approx(0.245)
    assert (place.low, place.high) == wilson(24.5, 100)


def test_under_twenty_dogs_there_is_no_share_to_show() -> None:
    few, enough = make_standing(9, 1, 9), make_standing(9, 1, 10)

    assert few.too_few
    assert (few.share, few.low, few.high) == (None, None, None)
    assert in_hundred(few) is None
    assert not enough.too_few
    assert enough.share is not None
    assert in_hundred(enough) is not None


def test_no_dogs_at_all_is_too_few() -> None:
    assert standing(Histogram.empty(), 40, "lower") == Standing(0, 0, 0, 0, None, None, None)


@pytest.mark.parametrize(("n", "precision"), [(20, 10), (99, 10), (100, 5), (399, 5), (400, 1)])
def test_the_rounding_follows_the_number_of_dogs(n: int, precision: int) -> None:
    words = in_hundred(make_standing(n // 3, 1, n - 1 - n // 3))

    assert words is not None
    assert words.precision == precision


def test_the_sentence_of_a_hundred() -> None:
    words = in_hundred(make_standing(240, 10, 750))

    assert words is not None
    assert (words.better, words.same, words.worse) == (24, 1, 75)
    # 240 of 1000 by Wilson: 21.46 to 26.74.
    assert (words.low, words.high) == (21, 27)


@given(st.integers(0, 700), st.integers(1, 300), st.integers(0, 700))
def test_the_numbers_of_a_sentence_add_up_to_100(better: int, equal: int, worse: int) -> None:
    place = make_standing(better, equal, worse)
    words = in_hundred(place)
    if words is None:
        return

    assert words.better + words.same + words.worse == 100
    assert words.same >= 0
    for number in (words.better, words.same, words.worse, words.low, words.high):
        assert number % words.precision == 0
    assert 0 <= words.low <= words.better <= words.high <= 100
    assert abs(words.better - 100 * better / place.n) <= words.precision
    assert abs(words.worse - 100 * worse / place.n) <= words.precision


@given(st.integers(0, 700), st.integers(1, 300), st.integers(0, 700))
def test_nobody_is_0_and_only_nobody(better: int, equal: int, worse: int) -> None:
    place = make_standing(better, equal, worse)
    words = in_hundred(place)
    if words is None:
        return

    assert (words.better == 0) is (better == 0)
    assert (words.worse == 0) is (worse == 0)
    assert (words.better == 100) is (better == place.n)


def test_a_dog_outside_the_counts_may_have_everybody_on_one_side() -> None:
    breed = Histogram.of_counts([(30, 25)])

    words = in_hundred(standing(breed, 90, "lower"))

    assert words is not None
    assert (words.better, words.same, words.worse) == (100, 0, 0)


def test_a_few_better_dogs_are_called_few_not_about_ten() -> None:
    words = in_hundred(make_standing(1, 1, 48))

    assert words is not None
    assert (words.better, words.few_better) == (10, True)
    assert (words.worse, words.few_worse) == (90, False)


def test_nobody_better_is_not_few() -> None:
    words = in_hundred(make_standing(0, 1, 49))

    assert words is not None
    assert (words.better, words.few_better) == (0, False)


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
