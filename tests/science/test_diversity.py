"""Known ancestors, equivalent generations, and effective sizes that theory gives."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from registry.science.diversity import completeness, effective_size, equivalent_generations
from registry.science.inbreeding import inbreeding
from registry.science.pedigree import Pedigree

# Places 0 and 1 are founders, 2 and 3 their pups, 4 a pup of those, 5 of 4 and an unknown dam.
SIRE, DAM = [-1, -1, 0, 0, 2, 4], [-1, -1, 1, 1, 3, -1]


def test_completeness_counts_every_place_of_an_ancestor() -> None:
    pedigree = Pedigree.of(SIRE, DAM)

    assert completeness(pedigree, 1).tolist() == [0, 0, 1, 1, 1, 0.5]
    assert completeness(pedigree, 2) == pytest.approx([0, 0, 2 / 6, 2 / 6, 1, 3 / 6])
    assert completeness(pedigree, 3) == pytest.approx([0, 0, 2 / 14, 2 / 14, 6 / 14, 7 / 14])


def test_completeness_of_no_generation_is_refused() -> None:
    with pytest.raises(ValueError, match="one generation or more"):
        completeness(Pedigree.of(SIRE, DAM), 0)


def test_equivalent_generations_weigh_an_ancestor_by_its_distance() -> None:
    found = equivalent_generations(Pedigree.of(SIRE, DAM))

    # The last: its sire ½, both grandparents ¼ each, and their parents' four places ⅛ each.
    assert found.tolist() == [0, 0, 1, 1, 2, 1.5]


def test_equivalent_generations_do_not_depend_on_the_order_of_the_rows() -> None:
    turned = Pedigree.of(
        [5 - sire if sire >= 0 else -1 for sire in SIRE[::-1]],
        [5 - dam if dam >= 0 else -1 for dam in DAM[::-1]],
    )

    assert equivalent_generations(turned).tolist() == [1.5, 2, 1, 1, 0, 0]


def full_sibs(generations: int) -> Pedigree:
    """A line of two dogs a generation, brother and sister, each pair the next one's parents."""
    sire, dam = [-1, -1], [-1, -1]
    for generation in range(generations):
        sire += [2 * generation] * 2
        dam += [2 * generation + 1] * 2
    return Pedigree.of(sire, dam)


def test_size_and_error_of_two_dogs_worked_out_by_hand() -> None:
    # Of the second generation F = 0.25 and t = 2, of the third F = 0.375 and t = 3. Their rates are
    # 1 − 0.75 = 0.25 and 1 − √0.625 = 0.209431; mean 0.229715, standard deviation 0.028687.
    pedigree = full_sibs(3)

    found = effective_size(pedigree, inbreeding(pedigree), np.array([4, 6]))

    assert found is not None
    assert found.rate == pytest.approx(0.229715, abs=1e-6)
    assert found.rate_error == pytest.approx(0.020285, abs=1e-6)
    assert found.size == pytest.approx(2.17661, abs=1e-5)
    # 2 ÷ √2 × 2.17661² × 0.028687
    assert found.size_error == pytest.approx(0.19220, abs=1e-4)
    assert found.generations == 2.5


def bred_at_random(
    males: int, females: int, generations: int, seed: int
) -> tuple[Pedigree, NDArray[np.int64]]:
    """A closed line of constant size with parents drawn at random; and its last generation."""
    random = np.random.default_rng(seed)
    size = males + females
    sire, dam = [np.full(size, -1)], [np.full(size, -1)]
    for generation in range(generations):
        first = generation * size
        sire.append(first + random.integers(0, males, size))
        dam.append(first + males + random.integers(0, females, size))
    places = np.arange(generations * size, (generations + 1) * size)
    return Pedigree.of(np.concatenate(sire), np.concatenate(dam)), places


@pytest.mark.parametrize(
    ("males", "females", "expected"),
    # Wright (1931), Genetics 16:97-159: 4 × males × females ÷ (males + females).
    [(10, 10, 20.0), (3, 27, 10.8)],
)
def test_a_line_bred_at_random_has_the_size_that_theory_gives(
    males: int, females: int, expected: float
) -> None:
    sizes = []
    for seed in range(12):
        pedigree, last = bred_at_random(males, females, 20, seed)
        found = effective_size(pedigree, inbreeding(pedigree), last)
        assert found is not None
        assert found.generations == pytest.approx(20)
        sizes.append(found.size)

    assert 12 / sum(1 / size for size in sizes) == pytest.approx(expected, rel=0.1)


def test_a_line_of_full_sibs_loses_about_a_fifth_a_generation() -> None:
    # Falconer & Mackay (1996), chapter 5: in the long run 19.1 % a generation.
    pedigree = full_sibs(40)

    found = effective_size(pedigree, inbreeding(pedigree), np.arange(len(pedigree)) >= 4)

    assert found is not None
    assert found.rate == pytest.approx(0.191, abs=0.012)


def test_littermates_tell_no_more_than_one_of_them() -> None:
    pedigree, last = bred_at_random(4, 4, 8, seed=3)
    doubled_sire = np.concatenate([pedigree.sire, pedigree.sire[last]])
    doubled_dam = np.concatenate([pedigree.dam, pedigree.dam[last]])
    doubled = Pedigree.of(doubled_sire, doubled_dam)
    both = np.concatenate([last, np.arange(len(pedigree), len(doubled))])

    once = effective_size(pedigree, inbreeding(pedigree), last)
    twice = effective_size(doubled, inbreeding(doubled), both)

    assert once is not None
    assert twice is not None
    assert twice.dogs == 2 * once.dogs
    assert twice.size == pytest.approx(once.size)
    assert twice.size_error == pytest.approx(once.size_error)


def test_a_shallow_pedigree_tells_no_size() -> None:
    pedigree = Pedigree.of([-1, -1, 0, 0], [-1, -1, 1, 1])

    assert effective_size(pedigree, inbreeding(pedigree)) is None


def test_without_any_inbreeding_the_size_has_no_end() -> None:
    # Four dogs whose four grandparents each are unrelated.
    sire = [-1] * 16 + list(range(0, 16, 2)) + list(range(16, 24, 2))
    dam = [-1] * 16 + list(range(1, 16, 2)) + list(range(17, 24, 2))
    pedigree = Pedigree.of(sire, dam)

    found = effective_size(pedigree, inbreeding(pedigree))

    assert found is not None
    assert found.dogs == 4
    assert found.rate == 0
    assert math.isinf(found.size)
    assert math.isinf(found.size_error)


def test_inbreeding_of_another_pedigree_is_refused() -> None:
    with pytest.raises(ValueError, match="6 dogs, but inbreeding of"):
        effective_size(Pedigree.of(SIRE, DAM), np.zeros(5))
