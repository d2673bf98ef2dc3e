"""The breed's course by birth year: counts, means, intervals, and the line through the years."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from registry.science.inbreeding import inbreeding
from registry.science.kinship import relationship
from registry.science.pedigree import Pedigree
from registry.science.trend import Trend, by_birth_year
from tests.science.families import Family, families

ADDITIVE = 0.5


def course(pedigree: Pedigree, born: list[int], **given_: Any) -> Trend:
    """The course of dogs of which nothing is known but what is given."""
    n = len(pedigree)
    told: dict[str, Any] = {
        "record": np.full(n, np.nan),
        "value": np.zeros(n),
        "error_variance": np.full(n, ADDITIVE),
        "inbreeding": np.zeros(n),
        "additive": ADDITIVE,
    }
    told |= {name: np.asarray(row, dtype=float) for name, row in given_.items() if name != "fewest"}
    return by_birth_year(pedigree, born=np.array(born), fewest=given_.get("fewest", 5), **told)


def founders(n: int) -> Pedigree:
    return Pedigree.of([-1] * n, [-1] * n)


class TestYears:
    def test_every_year_with_dogs_is_there_in_order(self) -> None:
        found = course(founders(4), [2021, 2019, 2021, 2020])

        assert [(year.year, year.dogs) for year in found.years] == [(2019, 1), (2020, 1), (2021, 2)]

    def test_dogs_without_a_year_are_counted_apart(self) -> None:
        found = course(founders(3), [2021, 0, 0])

        assert found.without_year == 2
        assert sum(year.dogs for year in found.years) == 1

    def test_tested_dogs_are_those_with_a_record(self) -> None:
        (year,) = course(founders(5), [2021] * 5, record=[0.3, np.nan, 0.4, np.nan, np.nan]).years

        assert (year.tested, year.share_tested) == (2, 0.4)

    def test_the_mean_record_has_students_interval(self) -> None:
        (year,) = course(founders(5), [2021] * 5, record=[1, 2, 3, 4, 5]).years

        # s = 1.5811, s/√5 = 0.70711, t with 4 degrees of freedom 2.77645 (table).
        assert year.record is not None
        assert year.record.mean == 3.0
        assert year.record.high - 3.0 == pytest.approx(0.70711 * 2.77645, abs=1e-4)
        assert 3.0 - year.record.low == pytest.approx(0.70711 * 2.77645, abs=1e-4)

    def test_a_year_of_few_dogs_has_no_mean_and_is_named(self) -> None:
        found = course(founders(9), [2020] * 4 + [2021] * 5, record=np.ones(9))

        assert found.years[0].value is None
        assert found.years[0].record is None
        assert found.years[1].value is not None
        assert found.left_out == (2020,)

    def test_a_year_of_few_tested_dogs_still_has_a_mean_breeding_value(self) -> None:
        (year,) = course(founders(5), [2021] * 5, record=[1, 2, 3, 4, np.nan]).years

        assert year.record is None
        assert year.value is not None

    def test_mean_breeding_value_and_inbreeding_are_of_all_its_dogs(self) -> None:
        (year,) = course(
            founders(5), [2021] * 5, value=[1, 2, 3, 4, 10], inbreeding=[0, 0, 0, 0.25, 0.25]
        ).years

        assert year.value is not None
        assert year.value.mean == 4.0
        assert year.inbreeding == pytest.approx(0.1)

    def test_it_is_ready_for_json(self) -> None:
        found = course(founders(20), [2018] * 6 + [2019] * 6 + [2020] * 6 + [0, 2021])

        assert json.loads(json.dumps(asdict(found), allow_nan=False))["without_year"] == 1

    def test_a_breed_without_dogs_of_known_years_has_an_empty_course(self) -> None:
        found = course(founders(2), [0, 0])

        assert (found.years, found.line) == ((), None)

    def test_arrays_of_another_length_are_refused(self) -> None:
        with pytest.raises(ValueError, match="one number for each"):
            course(founders(5), [2021] * 5, value=[1.0])


class TestIntervals:
    def test_unknown_and_unrelated_dogs_differ_as_independent_ones(self) -> None:
        (year,) = course(founders(8), [2021] * 8).years

        # 1.95996 · √(0.5 / 8).
        assert year.value is not None
        assert year.value.high == pytest.approx(0.48999, abs=1e-4)

    def test_one_sire_of_all_makes_a_year_less_sure(self) -> None:
        n = 12
        family = Pedigree.of([-1] + [0] * n, [-1] * (n + 1))

        half_sibs = course(family, [0] + [2021] * n).years[0].value
        unrelated = course(founders(n), [2021] * n).years[0].value

        # Half-sibs' genes are alike by a quarter: 0.5 · (¼ + ¾ / 12) = 0.15625.
        assert half_sibs is not None and unrelated is not None
        assert half_sibs.high == pytest.approx(1.959964 * 0.15625**0.5, abs=1e-6)
        assert half_sibs.high > unrelated.high

    @given(families())
    def test_while_nothing_is_known_the_pedigree_alone_gives_the_interval(
        self, family: Family
    ) -> None:
        pedigree = family.pedigree
        inbred = inbreeding(pedigree)
        n = len(pedigree)

        (year,) = course(
            pedigree,
            [2021] * n,
            error_variance=ADDITIVE * (1 + inbred),
            inbreeding=inbred,
            fewest=1,
        ).years

        # The variance of a mean: the mean of the whole relationship matrix.
        assert year.value is not None
        expected = ADDITIVE * relationship(pedigree, inbred).mean()
        assert (year.value.high / 1.959964) ** 2 == pytest.approx(expected, rel=1e-5)


class TestTheLine:
    YEARS = [year for year in (2018, 2019, 2020, 2021) for _ in range(5)]

    def test_it_is_the_slope_of_the_mean_breeding_values(self) -> None:
        value = [-0.02 * (year - 2018) for year in self.YEARS]

        line = course(founders(20), self.YEARS, value=value).line

        assert line is not None
        assert line.per_year == pytest.approx(-0.02)
        assert (line.first, line.last, line.years) == (2018, 2021, 4)

    def test_independent_years_give_the_textbook_interval(self) -> None:
        line = course(founders(20), self.YEARS).line

        # Each mean has variance 0.5/5; Σ(year − mean)² = 5: the slope has 0.1/5 = 0.02.
        assert line is not None
        assert line.high == pytest.approx(1.959964 * 0.02**0.5, abs=1e-6)

    def test_years_of_few_dogs_are_passed_over(self) -> None:
        years = [*self.YEARS, 2030]

        line = course(founders(21), years, value=[0.0] * 20 + [99.0]).line

        assert line is not None
        assert (line.per_year, line.last) == (0.0, 2021)

    def test_two_years_make_no_line(self) -> None:
        assert course(founders(10), [2020] * 5 + [2021] * 5).line is None
