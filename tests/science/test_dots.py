"""The heap of circles: every circle accounted for, the own dog once, and true to the sentence."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.distribution import Histogram
from registry.science.dots import MOST_COLUMNS, Heap, heap
from registry.science.scale import Better
from registry.science.standing import others, spoken, standing

BREEDS = st.dictionaries(st.integers(0, 120), st.integers(1, 400), min_size=1, max_size=30).map(
    Histogram.of_counts
)
BETTER = st.sampled_from(["lower", "higher"])


def bell(dogs: int, middle: int = 45, sd: float = 11) -> Histogram:
    """Return a breed of so many dogs with a bell-shaped distribution."""
    steps = np.random.default_rng(dogs).normal(middle, sd, dogs).round().astype(int).clip(0)
    return Histogram(0, np.bincount(steps))


SHAPES = {
    "20 dogs": (bell(20), True),
    "60 dogs": (bell(60), True),
    "61 dogs": (bell(61), True),
    "5,000 dogs": (bell(5000), True),
    "all equal": (Histogram.of_counts({45: 300}), True),
    "two clumps": (bell(400, 25, 2).merge(bell(300, 85, 2)), True),
    "dog outside the range": (bell(400), False),
    "ties": (Histogram.of_counts({0: 150, 1: 80, 2: 30, 3: 5}), True),
}


def own_step_of(name: str) -> int:
    breed, is_counted = SHAPES[name]
    return breed.rows()[len(breed.rows()) // 2][0] if is_counted else breed.last_step + 40


def assert_every_circle_has_its_place(drawn: Heap) -> None:
    places = [(circle.column, circle.row) for circle in drawn.circles]
    assert len(set(places)) == len(places)
    # Stacked from the base line without a gap.
    assert all(row == 0 or (column, row - 1) in places for column, row in places)
    assert drawn.rows == max(row for _, row in places) + 1
    for circle in drawn.circles:
        column = drawn.columns[circle.column]
        assert column.low_step <= circle.step <= column.high_step


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("better", ["lower", "higher"])
def test_every_shape_of_data_gives_a_sound_heap(name: str, better: Better) -> None:
    breed, is_counted = SHAPES[name]
    own = own_step_of(name)

    drawn = heap(breed, own, better, own_is_counted=is_counted)

    assert_every_circle_has_its_place(drawn)
    (own_circle,) = [circle for circle in drawn.circles if circle.role == "own"]
    assert own_circle.step == own
    assert drawn.columns[own_circle.column].has_own
    assert drawn.better + drawn.same + drawn.worse + 1 == len(drawn.circles)


@pytest.mark.parametrize(
    ("name", "circles"),
    [("20 dogs", 20), ("60 dogs", 60), ("61 dogs", 50), ("5,000 dogs", 50), ("all equal", 50)],
)
def test_up_to_sixty_dogs_each_is_a_circle_and_then_there_are_fifty(
    name: str, circles: int
) -> None:
    breed, _ = SHAPES[name]

    drawn = heap(breed, own_step_of(name), "lower")

    assert len(drawn.circles) == circles
    assert drawn.dogs_per_circle == (breed.n / 50 if breed.n > 60 else 1.0)


@given(BREEDS, BETTER, st.data())
def test_the_circles_are_in_proportion_to_the_dogs(
    breed: Histogram, better: Better, data: st.DataObject
) -> None:
    own = data.draw(st.sampled_from([step for step, _ in breed.rows()]))

    drawn = heap(breed, own, better)

    assert_every_circle_has_its_place(drawn)
    place = standing(breed, own, better)
    circles = len(drawn.circles)
    assert sum(circle.role == "own" for circle in drawn.circles) == 1
    assert drawn.better + drawn.same + drawn.worse + 1 == circles == min(breed.n, circles)
    if breed.n <= 60:
        assert (drawn.better, drawn.same + 1, drawn.worse) == (
            place.better,
            place.equal,
            place.worse,
        )
    else:
        assert circles == 50
        assert abs(drawn.better - 50 * place.better / place.n) < 2
        assert abs(drawn.worse - 50 * place.worse / place.n) < 2


@given(BREEDS, BETTER, st.data())
def test_the_heap_says_what_the_sentence_says(
    breed: Histogram, better: Better, data: st.DataObject
) -> None:
    own = data.draw(st.sampled_from([step for step, _ in breed.rows()]))
    among = others(breed, own, own_is_inside=True)
    words = spoken(standing(among, own, better))
    if words is None:
        return

    drawn = heap(among, own, better, own_is_counted=False)

    circles = len(drawn.circles) - 1
    said = words.of * (4 + words.precision) / 100
    assert (drawn.better == 0) is (words.counts[0] == 0)
    assert (drawn.worse == 0) is (words.counts[2] == 0)
    # Two circles of the heap, and the rounding of the words.
    assert abs(words.of * drawn.better / circles - words.better) <= said
    assert abs(words.of * drawn.worse / circles - words.worse) <= said


@given(BREEDS, BETTER, st.data())
def test_better_and_worse_circles_lie_on_their_side_of_the_own_dog(
    breed: Histogram, better: Better, data: st.DataObject
) -> None:
    own = data.draw(st.integers(-10, 130))
    is_counted = breed.at(own) > 0

    drawn = heap(breed, own, better, own_is_counted=is_counted)

    sign = 1 if better == "lower" else -1
    for circle in drawn.circles:
        compared = sign * (circle.step - own)
        role = "better" if compared < 0 else "worse" if compared > 0 else circle.role
        assert circle.role == role
        assert compared != 0 or circle.role in ("same", "own")


@given(BREEDS, BETTER)
def test_circles_lie_where_the_dogs_lie(breed: Histogram, better: Better) -> None:
    drawn = heap(breed, None, better)

    for share in (0.25, 0.5, 0.75):
        place = int(share * len(drawn.circles))
        step = sorted(circle.step for circle in drawn.circles)[place]
        # The dog of that rank, with half a circle of slack on either side.
        assert breed.below(step) <= share * breed.n + breed.n / len(drawn.circles)
        assert breed.below(step + 1) >= share * breed.n - breed.n / len(drawn.circles)


@given(BREEDS, BETTER, st.one_of(st.none(), st.integers(-300, 5_000)))
def test_the_table_of_numbers_holds_every_dog(
    breed: Histogram, better: Better, own: int | None
) -> None:
    drawn = heap(breed, own, better, own_is_counted=False)

    assert sum(column.dogs for column in drawn.columns) == breed.n
    assert sum(column.has_own for column in drawn.columns) == (own is not None)
    edges = drawn.column_edges
    assert len(edges) == len(drawn.columns) + 1 <= MOST_COLUMNS + 2
    assert set(np.diff(edges)) == {drawn.column_width}


def test_the_own_circle_is_on_top_of_its_column() -> None:
    # Columns of five steps: the own dog shares its column with higher steps.
    drawn = heap(Histogram.of_counts({0: 5, 40: 5, 41: 5, 44: 5, 100: 5}), 41, "lower")

    (own,) = [circle for circle in drawn.circles if circle.role == "own"]
    heights = [circle.row for circle in drawn.circles if circle.column == own.column]
    assert own.row == max(heights) == 14


def test_each_circle_is_the_middle_dog_of_its_share() -> None:
    # 150 dogs, one a step: each circle stands for three and lies at the one in the middle.
    drawn = heap(Histogram.of_steps(range(150)), None, "lower")

    assert [circle.step for circle in drawn.circles] == list(range(1, 150, 3))


def test_one_better_dog_in_five_thousand_is_drawn() -> None:
    drawn = heap(Histogram.of_counts({20: 1, 40: 1, 50: 4_998}), 40, "lower")

    assert (drawn.better, drawn.same, drawn.worse) == (1, 0, 48)


def test_a_dog_that_is_not_counted_is_drawn_besides_the_others() -> None:
    drawn = heap(Histogram.of_counts({30: 10, 40: 15}), 90, "lower", own_is_counted=False)

    assert len(drawn.circles) == 26
    assert (drawn.better, drawn.same, drawn.worse) == (25, 0, 0)
    assert drawn.n == 25


def test_a_counted_dog_must_be_in_the_counts() -> None:
    with pytest.raises(ValueError, match="not among the counted"):
        heap(Histogram.of_counts({30: 10}), 90, "lower")


def test_a_heap_about_no_dog_has_plain_circles() -> None:
    drawn = heap(bell(5000), None, "lower")

    assert {circle.role for circle in drawn.circles} == {"dog"}
    assert len(drawn.circles) == 50
    assert (drawn.better, drawn.same, drawn.worse) == (0, 0, 0)


def test_no_dogs_make_no_heap() -> None:
    with pytest.raises(ValueError, match="needs a dog"):
        heap(Histogram.empty(), None, "lower")


def test_two_sides_given_one_span_share_their_columns() -> None:
    left, right = bell(400, 40, 5), bell(400, 60, 9)
    span = (min(left.first_step, right.first_step), max(left.last_step, right.last_step))

    heaps = [heap(side, None, "lower", span=span) for side in (left, right)]

    assert heaps[0].column_edges == heaps[1].column_edges


def test_column_edges_are_round_numbers_of_steps() -> None:
    drawn = heap(Histogram.of_counts({23: 40, 118: 40}), None, "lower")

    assert drawn.column_width == 5
    assert drawn.column_edges[0] == 20
    assert drawn.column_edges[-1] == 120
