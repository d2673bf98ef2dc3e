"""A pair's forecast: by hand, its parts, and fifty puppies on the trait's scale."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from registry.science import dots
from registry.science.litter import Circles, Forecast, forecast
from registry.science.mixed_model import Variances

PAIR: dict[str, Any] = {
    "sire_value": -0.10,
    "dam_value": -0.04,
    "sire_error_variance": 0.0016,
    "dam_error_variance": 0.0032,
    "sire_inbreeding": 0.25,
    "dam_inbreeding": 0.05,
    "kinship": 0.03,
    "variances": Variances(additive=0.0064, litter=0.0008, residual=0.0032),
    "base": 0.50,
    "better": "lower",
}
# By hand: ¼ · 0.0048 = 0.0012; ½ · (1 − 0.15) · 0.0064 = 0.00272; the sum with litter and residual
# is 0.00792, its root 0.0889944.
SD = 0.0889944


def pair(**changed: Any) -> Forecast:
    return forecast(**(PAIR | changed))


def circles(
    of: Forecast, middle: float = 0.45, lowest: str = "0.05", highest: str = "1.20"
) -> Circles:
    return of.circles(
        middle, resolution=Decimal("0.01"), lowest=Decimal(lowest), highest=Decimal(highest)
    )


class TestTheDistribution:
    def test_the_mean_is_the_base_and_the_mean_of_both_breeding_values(self) -> None:
        assert pair().mean == pytest.approx(0.43)

    def test_the_spread_is_that_worked_out_by_hand(self) -> None:
        assert pair().sd == pytest.approx(SD, abs=1e-7)

    def test_littermates_differ_by_their_halves_of_the_genes_and_by_all_the_rest(self) -> None:
        # 0.00272 + 0.0032, and what is left of 0.00792.
        assert pair().sd_between_littermates == pytest.approx(0.00592**0.5)
        assert pair().sd_of_the_litters_mean == pytest.approx(0.0020**0.5)

    def test_half_the_puppies_are_expected_better_than_the_mean(self) -> None:
        assert pair().share_better_than(0.43) == pytest.approx(0.5)

    def test_84_of_100_lie_below_one_standard_deviation_above(self) -> None:
        # The normal table: 0.8413.
        assert pair().share_better_than(0.43 + SD) == pytest.approx(0.8413, abs=1e-4)

    def test_where_more_is_better_the_other_end_counts(self) -> None:
        share = pair(better="higher").share_better_than(0.43 + SD)

        assert share == pytest.approx(1 - 0.8413, abs=1e-4)

    def test_nothing_is_better_than_a_middle_at_the_end_of_the_scale(self) -> None:
        assert pair(base=0.0).share_better_than(0.05, best=0.05) == 0.0
        assert pair().share_better_than(0.43, best=0.05) == pytest.approx(0.5)

    def test_eight_of_ten_puppies_lie_within_1_2816_standard_deviations(self) -> None:
        low, high = pair().interval()

        assert (0.43 - low) / SD == pytest.approx(1.2816, abs=1e-4)
        assert (high - 0.43) / SD == pytest.approx(1.2816, abs=1e-4)

    def test_the_mean_of_one_puppy_is_the_puppy(self) -> None:
        assert pair().mean_interval(1) == pytest.approx(pair().interval())

    def test_the_mean_of_many_is_surer_and_never_surer_than_the_parents_are_known(self) -> None:
        widths = [high - low for low, high in (pair().mean_interval(n) for n in (1, 6, 600, None))]

        assert widths == sorted(widths, reverse=True)
        assert widths[-1] == pytest.approx(2 * 1.28155 * 0.0020**0.5, abs=1e-6)

    def test_puppies_of_inbred_parents_differ_less(self) -> None:
        inbred = pair(sire_inbreeding=0.5, dam_inbreeding=0.5)

        assert inbred.sd_between_littermates < pair().sd_between_littermates

    def test_the_expected_inbreeding_is_the_kinship_of_the_pair(self) -> None:
        assert pair(kinship=0.125).inbreeding == 0.125

    @pytest.mark.parametrize("share", [0.0, 1.0, -0.1])
    def test_a_quantile_without_end_is_refused(self, share: float) -> None:
        with pytest.raises(ValueError, match="between 0 and 1"):
            pair().quantile(share)

    @pytest.mark.parametrize(
        "wrong", [{"sire_error_variance": -0.1}, {"kinship": 1.2}, {"dam_inbreeding": -0.1}]
    )
    def test_numbers_that_no_pair_has_are_refused(self, wrong: dict[str, float]) -> None:
        with pytest.raises(ValueError, match=r"negative|between"):
            pair(**wrong)

    def test_a_litter_without_a_puppy_has_no_mean(self) -> None:
        with pytest.raises(ValueError, match="one puppy"):
            pair().mean_interval(0)


class TestFiftyPuppies:
    def test_there_are_fifty_in_order(self) -> None:
        steps = circles(pair()).steps

        assert len(steps) == 50
        assert list(steps) == sorted(steps)

    def test_their_mean_and_spread_are_the_forecasts(self) -> None:
        steps = circles(pair()).steps
        mean = sum(steps) / 50
        spread = (sum((step - mean) ** 2 for step in steps) / 50) ** 0.5

        assert mean == pytest.approx(43, abs=0.3)
        # The middles of fifty shares miss the farthest tails.
        assert 0.94 * 100 * SD < spread < 100 * SD

    @pytest.mark.parametrize("middle", [0.30, 0.355, 0.42, 0.43, 0.5025])
    def test_as_many_lie_on_the_better_side_as_the_sentence_says(self, middle: float) -> None:
        found = circles(pair(), middle)

        better = sum(step < found.edge for step in found.steps)

        assert abs(better / 50 - pair().share_better_than(middle)) <= 0.01 + 1e-9

    def test_a_middle_on_a_step_is_not_pushed_up_by_binary_noise(self) -> None:
        # 0.29 / 0.01 is 28.999999999999996, 0.57 / 0.01 is 56.99999999999999.
        assert [circles(pair(), middle).edge for middle in (0.29, 0.42, 0.57)] == [29, 42, 57]

    def test_none_is_moved_where_the_scale_is_wide(self) -> None:
        found = circles(pair())

        assert (found.at_lowest, found.at_highest) == (0, 0)

    def test_those_beyond_the_scale_stand_on_its_end_and_are_counted(self) -> None:
        tight = circles(pair(base=0.15), lowest="0.05")
        loose = circles(pair(base=1.25))

        assert tight.steps.count(5) >= tight.at_lowest > 10
        assert min(tight.steps) == 5
        assert tight.at_highest == 0
        assert loose.steps.count(120) >= loose.at_highest > 10
        assert max(loose.steps) == 120

    def test_halves_of_a_degree_are_steps_too(self) -> None:
        found = replace(pair(), mean=105.0).circles(
            104.0, resolution=Decimal("0.5"), lowest=Decimal(60), highest=Decimal(130)
        )

        assert set(found.steps) == {210}
        assert found.edge == 208


class TestTheHeap:
    def test_no_column_holds_both_sides_of_the_middle(self) -> None:
        found = circles(pair(), 0.467)

        heap = dots.parted(found.steps, found.edge, "lower", span=(11, 97))

        assert {c.role for c in heap.circles if c.step < found.edge} == {"better"}
        assert {c.role for c in heap.circles if c.step >= found.edge} == {"worse"}
        roles = [{c.role for c in heap.circles if c.column == at} for at in range(24)]
        assert max(len(each) for each in roles) == 1

    def test_the_columns_cover_the_breeds_scale(self) -> None:
        found = circles(pair())

        heap = dots.parted(found.steps, found.edge, "lower", span=(11, 97))

        assert heap.column_edges[0] <= 11
        assert heap.column_edges[-1] > 97
        assert found.edge in heap.column_edges
        assert sum(column.dogs for column in heap.columns) == 50

    def test_two_pairs_share_their_columns(self) -> None:
        heaps = [
            dots.parted(found.steps, found.edge, "lower", span=(2, 110))
            for found in (circles(pair()), circles(pair(sire_value=0.1)))
        ]

        assert heaps[0].column_edges == heaps[1].column_edges

    def test_a_middle_beyond_all_puppies_is_still_on_the_scale(self) -> None:
        heap = dots.parted([10, 11, 12], 30, "lower")

        assert heap.better == 3
        assert heap.column_edges[-1] > 30

    def test_where_more_is_better_the_upper_side_is_the_better_one(self) -> None:
        heap = dots.parted([1, 2, 3, 4, 5], 4, "higher")

        assert (heap.better, heap.worse) == (2, 3)

    @pytest.mark.parametrize("steps", [[], [1] * 61])
    def test_none_and_too_many_circles_are_refused(self, steps: list[int]) -> None:
        with pytest.raises(ValueError, match="1 to 60 circles"):
            dots.parted(steps, 1, "lower")
