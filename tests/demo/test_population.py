"""The simulated breeds: sound pedigrees, and relatives that resemble each other."""

from datetime import date

import numpy as np
import pytest

from registry.demo.genetics import CONGRUENCE, ELBOW, FORM, LAXITY, GeneticModel, Kinship
from registry.demo.population import Population, breed_population

TODAY = date(2026, 11, 25).toordinal()


def bred(seed: int, *, size: int = 900, selection: float = 0.3) -> Population:
    return breed_population(
        size=size, today=TODAY, selection=selection, rng=np.random.default_rng(seed)
    )


@pytest.fixture(scope="module")
def population() -> Population:
    return bred(7)


class TestPedigree:
    def test_parents_stand_before_their_puppies_so_no_dog_is_its_own_ancestor(
        self, population: Population
    ) -> None:
        places = np.arange(len(population))

        assert (population.sire < places).all()
        assert (population.dam < places).all()

    def test_sires_are_male_and_dams_female(self, population: Population) -> None:
        known = population.sire >= 0

        assert population.is_male[population.sire[known]].all()
        assert not population.is_male[population.dam[known]].any()

    def test_parents_are_grown_when_their_puppies_are_born(self, population: Population) -> None:
        known = population.sire >= 0
        born = population.born[known]

        assert (born - population.born[population.sire[known]]).min() >= 365
        assert (born - population.born[population.dam[known]]).min() >= 365

    def test_no_puppy_is_born_after_today(self, population: Population) -> None:
        assert population.born.max() < TODAY

    def test_there_are_eight_generations_and_only_founders_and_imports_have_no_parents(
        self, population: Population
    ) -> None:
        assert set(population.generation.tolist()) == set(range(1, 9))
        has_none = population.sire < 0
        assert (has_none == (population.dam < 0)).all()
        assert has_none[population.generation == 1].all()
        assert not has_none[population.generation == 2].any()
        assert 0.01 < has_none[population.generation > 2].mean() < 0.04

    def test_a_litter_has_one_sire_one_dam_and_one_birthday(self, population: Population) -> None:
        for litter in range(population.litter.max() + 1):
            mates = population.litter == litter
            assert len(set(population.sire[mates].tolist())) == 1
            assert len(set(population.dam[mates].tolist())) == 1
            assert len(set(population.born[mates].tolist())) == 1

    def test_a_bitch_has_no_two_litters_within_the_same_half_year(
        self, population: Population
    ) -> None:
        for dam in set(population.dam[population.dam >= 0].tolist()):
            days = np.unique(population.born[population.dam == dam])
            assert len(days) == 1 or np.diff(days).min() >= 180

    def test_a_few_sires_have_many_puppies(self, population: Population) -> None:
        puppies = np.bincount(population.sire[population.sire >= 0])
        used = np.sort(puppies[puppies > 0])[::-1]

        assert used[: max(1, len(used) // 5)].sum() > 0.35 * used.sum()

    def test_the_same_seed_gives_the_same_dogs_and_another_gives_others(self) -> None:
        first, again, other = bred(3, size=200), bred(3, size=200), bred(4, size=200)

        assert (first.value == again.value).all()
        assert (first.born == again.born).all()
        assert (first.value[:50] != other.value[:50]).any()


class TestInheritance:
    @pytest.mark.parametrize(
        ("quality", "heritability"), [(LAXITY, 0.5), (CONGRUENCE, 0.4), (ELBOW, 0.3), (FORM, 0.3)]
    )
    def test_puppies_resemble_the_mean_of_their_parents_as_heritability_says(
        self, quality: int, heritability: float
    ) -> None:
        # Falconer & Mackay (1996), ch. 10: the regression on the mid-parent is the heritability.
        # 6000 unselected pairs, a puppy each, put 0.06 beyond four standard errors.
        model, rng = GeneticModel.shipped(), np.random.default_rng(5)
        n = 6000
        genes = model.founders(2 * n, rng)
        seen = genes + model.upbringing(2 * n, rng, shared=True)
        seen += model.upbringing(2 * n, rng, shared=False)
        # What is left to a variance of one is the two sides' own, and the measuring of one day.
        missing = np.sqrt(np.array([0.18, 0.18, 0.20, 0.18]))
        seen += rng.standard_normal(seen.shape) * missing
        puppies = np.concatenate(
            [model.puppies(genes[i], genes[n + i], 0.0, 0.0, 1, rng) for i in range(n)]
        )
        middle = (seen[:n, quality] + seen[n:, quality]) / 2

        slope = np.polyfit(middle, puppies[:, quality], 1)[0]

        assert seen[:, quality].var() == pytest.approx(1, abs=0.06)
        assert slope == pytest.approx(heritability, abs=0.06)

    def test_choosing_tighter_parents_makes_the_breed_tighter(self) -> None:
        def gain(selection: float) -> float:
            runs = [bred(seed, size=500, selection=selection) for seed in range(6)]
            return float(
                np.mean([run.additive[run.generation == 8, LAXITY].mean() for run in runs])
            )

        assert gain(0.6) < gain(0.0) - 0.5

    def test_full_brothers_and_their_puppy_have_the_kinship_of_the_textbook(self) -> None:
        # Wright (1922): full siblings 1/4, parent and puppy 1/4, a puppy of siblings F = 1/4.
        kinship = Kinship(5)
        sire, dam = kinship.add(-1, -1), kinship.add(-1, -1)
        brother, sister = kinship.add(sire, dam), kinship.add(sire, dam)
        puppy = kinship.add(brother, sister)

        assert kinship.between(brother, sister) == 0.25
        assert kinship.between(sire, brother) == 0.25
        assert kinship.inbreeding(puppy) == 0.25
        assert kinship.inbreeding(brother) == 0.0
