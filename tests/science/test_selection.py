"""Selection ahead: intensities of any size, plans, and what generations do to mean and spread."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from registry.science.mixed_model import Variances
from registry.science.scale import Better
from registry.science.selection import Generation, Plan, ahead, intensity, intensity_of

HALF = Variances(additive=0.5, litter=0.0, residual=0.5)
WIDE = Plan(males_tested=100_000, sires_kept=20_000, females_tested=100_000, dams_kept=20_000)
ALL = Plan(males_tested=1000, sires_kept=1000, females_tested=1000, dams_kept=1000)


def run(
    plan: Plan, generations: int = 8, *, better: Better = "lower", inbreeding: float = 0.0
) -> tuple[Generation, ...]:
    return ahead(
        mean=10.0,
        variances=HALF,
        better=better,
        plan=plan,
        generations=generations,
        inbreeding=inbreeding,
    )


class TestIntensities:
    @pytest.mark.parametrize(("best", "tested"), [(3, 17), (16, 17), (1, 40)])
    def test_the_finite_intensity_is_the_mean_of_drawn_best_dogs(
        self, best: int, tested: int
    ) -> None:
        drawn = np.random.default_rng(1).standard_normal((40_000, tested))

        mean = np.sort(drawn, axis=1)[:, -best:].mean()

        assert intensity_of(best, tested) == pytest.approx(mean, abs=0.01)

    @pytest.mark.parametrize("share", [0.001, 0.2, 0.9])
    def test_of_very_many_dogs_it_is_that_of_endlessly_many(self, share: float) -> None:
        many = intensity_of(round(share * 1_000_000), 1_000_000)

        assert many == pytest.approx(intensity(share), rel=1e-3)
        assert many < intensity(share)

    def test_keeping_all_is_no_selection(self) -> None:
        assert intensity(1) == 0
        assert intensity_of(7, 7) == 0

    def test_all_but_the_worst_is_the_best_ones_intensity_spread_over_the_rest(self) -> None:
        # The mean of all is 0, so the 99 kept balance the one left out.
        assert 99 * intensity_of(99, 100) == pytest.approx(intensity_of(1, 100), rel=1e-9)

    @pytest.mark.parametrize(("best", "tested"), [(0, 10), (11, 10)])
    def test_what_cannot_be_kept_is_refused(self, best: int, tested: int) -> None:
        with pytest.raises(ValueError, match="cannot be kept"):
            intensity_of(best, tested)

    @pytest.mark.parametrize("share", [0.0, 1.1])
    def test_a_share_that_is_none_is_refused(self, share: float) -> None:
        with pytest.raises(ValueError, match="more than 0"):
            intensity(share)


class TestPlans:
    def test_few_sires_cost_inbreeding(self) -> None:
        # Falconer & Mackay (1996), ch. 4: 1/(8 · 5) + 1/(8 · 50) = 0.0275.
        plan = Plan(males_tested=50, sires_kept=5, females_tested=100, dams_kept=50)

        assert plan.rate_of_inbreeding == pytest.approx(0.0275)

    def test_popular_sires_cost_more_inbreeding(self) -> None:
        plan = Plan(males_tested=50, sires_kept=5, females_tested=100, dams_kept=50, unevenness=2.0)

        assert plan.rate_of_inbreeding == pytest.approx(0.055)

    @pytest.mark.parametrize("odd", [{"accuracy": 1.1}, {"accuracy": -1.1}, {"unevenness": 0.9}])
    def test_an_accuracy_or_unevenness_that_cannot_be_is_refused(
        self, odd: dict[str, float]
    ) -> None:
        with pytest.raises(ValueError, match="an accuracy is"):
            Plan(males_tested=5, sires_kept=1, females_tested=5, dams_kept=1, **odd)

    def test_more_kept_than_tested_is_refused(self) -> None:
        with pytest.raises(ValueError, match="11 of 10"):
            Plan(males_tested=10, sires_kept=11, females_tested=5, dams_kept=1)


class TestAhead:
    def test_today_is_the_first_and_unchanged(self) -> None:
        now = run(WIDE, 0)

        assert len(now) == 1
        assert (now[0].mean, now[0].sd, now[0].inbreeding) == (10.0, 1.0, 0.0)

    def test_without_selection_among_many_nothing_moves(self) -> None:
        last = run(ALL)[-1]

        assert last.mean == 10.0
        assert last.sd == pytest.approx(1.0, abs=2e-3)

    def test_the_first_response_is_the_breeders_equation(self) -> None:
        # Best fifth: 1.3998 · 0.5 · 1.
        first = run(WIDE, 1)[-1]

        assert first.mean == pytest.approx(10 - 0.6999, abs=1e-3)

    def test_chosen_by_what_agrees_with_records_it_is_that_part_of_the_response(self) -> None:
        # Drawn: two million dogs, the best fifth by what correlates 0.3 with their records.
        rng = np.random.default_rng(3)
        record = rng.standard_normal(2_000_000)
        criterion = 0.3 * record + np.sqrt(1 - 0.3**2) * rng.standard_normal(2_000_000)
        chosen = record[criterion >= np.quantile(criterion, 0.8)]

        weak = replace(WIDE, accuracy=0.3)
        first = run(weak, 1)[-1]

        assert first.mean == pytest.approx(10 - 0.5 * chosen.mean(), abs=0.002)
        # Of the additive 0.5, half is Mendelian; between parents the chosen have a little less.
        between = 0.25 * (1 - (1 - chosen.var()) * 0.5)
        assert first.additive == pytest.approx(0.25 + between, abs=0.001)

    def test_chosen_by_chance_nothing_moves(self) -> None:
        assert run(replace(WIDE, accuracy=0.0))[-1].mean == 10.0

    def test_selection_goes_where_it_is_better(self) -> None:
        first = run(WIDE, 1, better="higher")[-1]

        assert first.mean == pytest.approx(10 + 0.6999, abs=1e-3)

    def test_the_first_loss_of_variance_is_half_of_k_times_heritability(self) -> None:
        # k = 1.3998 · (1.3998 − 0.8416) = 0.7814: 0.5 · (1 − ½ · 0.7814 · 0.5) = 0.4023.
        first = run(WIDE, 1)[-1]

        assert first.additive == pytest.approx(0.4023, abs=2e-4)

    def test_the_loss_comes_to_rest_where_its_equation_is_at_rest(self) -> None:
        # Bulmer (1971): V = ½V₀ + ½V(1 − k h²), h² = V/(V + E), so V(1 + k h²) = V₀. By hand
        # with k = 0.7814, V₀ = E = 0.5: 1.7814 V² + (0.5 − 0.5) V − 0.25 = 0, V = 0.3746.
        last = run(WIDE, 15)[-1]

        assert last.additive == pytest.approx(0.3746, abs=5e-4)

    def test_inbreeding_grows_by_the_same_part_of_what_is_left(self) -> None:
        plan = Plan(males_tested=50, sires_kept=5, females_tested=100, dams_kept=50)

        found = [each.inbreeding for each in run(plan, 2, inbreeding=0.1)]

        assert found == pytest.approx([0.1, 0.1 + 0.9 * 0.0275, 1 - 0.9 * 0.9725**2])

    def test_genetic_variance_is_lost_as_inbreeding_grows(self) -> None:
        plan = Plan(males_tested=2, sires_kept=2, females_tested=2, dams_kept=2)

        last = run(plan, 20)[-1]

        # Nobody is selected; after 20 generations of four parents nearly all is fixed.
        assert last.inbreeding > 0.9
        assert last.additive < 0.1
        assert last.heritability < 0.17

    def test_few_parents_hold_a_part_of_the_variance_between_dogs(self) -> None:
        # Of N drawn, 1 − 1/N: ½ · 0.5 + ½ · 0.5 · (1 − ½) = 0.375, nobody being selected.
        plan = Plan(males_tested=2, sires_kept=2, females_tested=2, dams_kept=2)

        assert run(plan, 1)[-1].additive == pytest.approx(0.375)

    def test_an_inbred_breed_begins_with_less_variance(self) -> None:
        assert run(WIDE, 0, inbreeding=0.2)[0].additive == pytest.approx(0.4)

    def test_of_100_dogs_half_are_better_than_their_mean_and_more_each_generation(self) -> None:
        shares = [each.share_better_than(10.0) for each in run(WIDE)]

        assert shares[0] == pytest.approx(0.5)
        assert shares == sorted(shares)
        assert shares[-1] > 0.99

    @pytest.mark.parametrize("generations", [-1, 31])
    def test_a_look_too_far_is_refused(self, generations: int) -> None:
        with pytest.raises(ValueError, match="0 to 30"):
            run(WIDE, generations)
