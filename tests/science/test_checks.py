"""The automatic checks: each planted mistake is found, and clean records stay clean."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Literal

import numpy as np
import pytest

from registry.science.checks import (
    BreedSpread,
    ExamFacts,
    Finding,
    OtherExam,
    ReadingFacts,
    TraitRule,
    findings,
)

LAXITY = TraitRule(
    slug="hip-laxity",
    resolution=Decimal("0.01"),
    is_measured=True,
    lowest=Decimal("0.05"),
    highest=Decimal("1.20"),
    minimum_age_days=112,
    side_difference=Decimal("0.20"),
)
GRADE = TraitRule(
    slug="hip-grade",
    resolution=Decimal(1),
    is_measured=False,
    lowest=Decimal(0),
    highest=Decimal(4),
    minimum_age_days=365,
    side_difference=Decimal(2),
)
RULES = {rule.slug: rule for rule in (LAXITY, GRADE)}
EXAMINED_ON = date(2026, 10, 2)


def sides(left: int, right: int, trait: str = "hip-laxity") -> tuple[ReadingFacts, ReadingFacts]:
    return ReadingFacts(trait, "left", left), ReadingFacts(trait, "right", right)


def make_facts(**facts: Any) -> ExamFacts:
    """Return a clean examination of a year-old dog, with what is given changed."""
    usual = {
        "born_on": date(2025, 8, 1),
        "examined_on": EXAMINED_ON,
        "received_on": date(2026, 10, 5),
        "readings": sides(40, 44),
        "rules": RULES,
        "breed": {"hip-laxity": BreedSpread(n=400, mean=45.0, sd=11.0)},
    }
    return ExamFacts(**{**usual, **facts})


def make_odd(reading: ReadingFacts, **facts: Any) -> ExamFacts:
    """Return an examination with this reading beside an unremarkable other side; sides may
    differ."""
    other: Literal["left", "right"] = "right" if reading.side == "left" else "left"
    readings = (reading, ReadingFacts(reading.trait, other, 45))
    rules = {"hip-laxity": replace(LAXITY, side_difference=None)}
    return make_facts(readings=readings, rules=rules, **facts)


def make_other(days_before: int, left: int, right: int, trait: str = "hip-laxity") -> OtherExam:
    return OtherExam(
        reference="REF0000001",
        examined_on=EXAMINED_ON - timedelta(days=days_before),
        steps={(trait, "left"): left, (trait, "right"): right},
    )


def only(facts: ExamFacts) -> Finding:
    (finding,) = findings(facts)
    return finding


def test_a_clean_examination_has_no_findings() -> None:
    assert findings(make_facts()) == []


class TestDates:
    def test_an_examination_after_death_stops(self) -> None:
        examined = make_facts().examined_on

        finding = only(make_facts(died_on=examined - timedelta(days=1)))

        assert (finding.code, finding.level) == ("date_conflict", "stop")
        assert finding.detail["kind"] == "after_death"
        assert findings(make_facts(died_on=examined)) == []

    def test_an_examination_before_birth_stops(self) -> None:
        finding = only(make_facts(born_on=date(2026, 10, 3)))

        assert (finding.code, finding.level) == ("date_conflict", "stop")
        assert finding.detail["kind"] == "before_birth"

    def test_an_examination_in_the_future_stops(self) -> None:
        finding = only(make_facts(received_on=date(2026, 10, 1)))

        assert (finding.code, finding.level) == ("date_conflict", "stop")
        assert finding.detail["kind"] == "future"

    def test_the_day_of_submission_is_not_the_future(self) -> None:
        assert findings(make_facts(received_on=EXAMINED_ON)) == []

    def test_an_examination_over_ten_years_ago_is_looked_at(self) -> None:
        finding = only(make_facts(received_on=date(2036, 10, 5)))

        assert (finding.code, finding.level) == ("date_conflict", "look")
        assert finding.detail["kind"] == "long_ago"

    def test_an_age_no_dog_reaches_is_looked_at(self) -> None:
        finding = only(make_facts(born_on=date(2005, 8, 1)))

        assert (finding.code, finding.level) == ("date_conflict", "look")
        assert finding.detail["kind"] == "very_old"

    def test_an_unknown_birth_date_is_said(self) -> None:
        finding = only(make_facts(born_on=None))

        assert (finding.code, finding.level) == ("age_unknown", "look")


class TestAge:
    @pytest.mark.parametrize(("age_days", "is_found"), [(111, True), (112, False)])
    def test_too_young_is_younger_than_the_trait_allows(
        self, age_days: int, is_found: bool
    ) -> None:
        facts = make_facts(born_on=EXAMINED_ON - timedelta(days=age_days))

        assert ("too_young" in [finding.code for finding in findings(facts)]) is is_found

    def test_too_young_is_found_once_for_each_trait_with_its_numbers(self) -> None:
        readings = (*sides(40, 44), *sides(0, 1, "hip-grade"))

        finding = only(make_facts(born_on=EXAMINED_ON - timedelta(days=200), readings=readings))

        assert (finding.code, finding.level, finding.trait) == ("too_young", "stop", "hip-grade")
        assert finding.detail == {"age_days": "200", "minimum_age_days": "365"}


class TestValues:
    @pytest.mark.parametrize(
        ("step", "is_found"), [(4, True), (5, False), (120, False), (121, True)]
    )
    def test_the_plausible_range_holds_its_ends(self, step: int, is_found: bool) -> None:
        facts = make_odd(ReadingFacts("hip-laxity", "left", step), breed={})

        assert ([finding.code for finding in findings(facts)] == ["outside_plausible"]) is is_found

    def test_a_value_outside_names_side_value_and_range(self) -> None:
        finding = only(make_odd(ReadingFacts("hip-laxity", "right", 340)))

        assert (finding.code, finding.side) == ("outside_plausible", "right")
        assert finding.detail == {"value": "3.40", "lowest": "0.05", "highest": "1.20"}

    @pytest.mark.parametrize(("step", "is_found"), [(89, False), (90, True)])
    def test_beyond_four_sd_of_the_breed_is_looked_at(self, step: int, is_found: bool) -> None:
        facts = make_odd(ReadingFacts("hip-laxity", "left", step))

        assert ([finding.code for finding in findings(facts)] == ["beyond_four_sd"]) is is_found

    def test_beyond_four_sd_gives_the_breeds_numbers_in_the_traits_unit(self) -> None:
        finding = only(make_odd(ReadingFacts("hip-laxity", "left", 99)))

        assert finding.detail == {"value": "0.99", "mean": "0.450", "sd": "0.110", "dogs": "400"}

    @pytest.mark.parametrize(("n", "is_found"), [(19, False), (20, True)])
    def test_a_small_breed_says_nothing_about_what_is_usual(self, n: int, is_found: bool) -> None:
        facts = make_odd(
            ReadingFacts("hip-laxity", "left", 99),
            breed={"hip-laxity": BreedSpread(n, 45.0, 11.0)},
        )

        assert bool(findings(facts)) is is_found

    def test_a_breed_without_spread_says_nothing(self) -> None:
        assert findings(make_facts(breed={"hip-laxity": BreedSpread(400, 45.0, 0.0)})) == []


class TestIndex:
    @pytest.mark.parametrize(
        ("step", "is_found"),
        [(33, True), (34, False), (35, False), (36, True)],
    )
    def test_the_index_is_displacement_over_radius_within_a_step(
        self, step: int, is_found: bool
    ) -> None:
        # 3.9 / 11.2 = 0.34821…
        reading = ReadingFacts("hip-laxity", "left", step, Decimal("11.2"), Decimal("3.9"))

        codes = [finding.code for finding in findings(make_odd(reading))]

        assert (codes == ["index_mismatch"]) is is_found

    def test_the_mismatch_gives_what_was_computed(self) -> None:
        reading = ReadingFacts("hip-laxity", "left", 53, Decimal("11.2"), Decimal("3.9"))

        finding = only(make_odd(reading))

        assert finding.detail == {
            "value": "0.53",
            "head_radius_mm": "11.2",
            "displacement_mm": "3.9",
            "computed": "0.35",
        }

    def test_impossible_lengths_are_a_mismatch_too(self) -> None:
        reading = ReadingFacts("hip-laxity", "left", 35, Decimal("1.12"), Decimal("3.9"))

        finding = only(make_odd(reading))

        assert (finding.code, finding.detail["problem"]) == ("index_mismatch", "impossible")


class TestSides:
    @pytest.mark.parametrize(("right", "is_found"), [(60, False), (61, True)])
    def test_sides_that_differ_unusually_are_looked_at(self, right: int, is_found: bool) -> None:
        codes = [finding.code for finding in findings(make_facts(readings=sides(40, right)))]

        assert (codes == ["sides_differ"]) is is_found

    def test_the_sides_of_an_earlier_examination_exchanged_are_looked_at(self) -> None:
        finding = only(make_facts(readings=sides(40, 44), others=(make_other(300, 44, 40),)))

        assert (finding.code, finding.level) == ("sides_swapped", "look")
        assert finding.detail["other"] == "REF0000001"

    def test_equal_sides_are_never_exchanged(self) -> None:
        facts = make_facts(
            readings=(ReadingFacts("hip-laxity", "left", 40),), others=(make_other(300, 40, 40),)
        )

        assert "sides_swapped" not in [finding.code for finding in findings(facts)]

    @pytest.mark.parametrize(("read", "missing"), [("left", "right"), ("right", "left")])
    def test_a_side_that_was_not_read_is_looked_at(
        self, read: Literal["left", "right"], missing: str
    ) -> None:
        finding = only(make_facts(readings=(ReadingFacts("hip-laxity", read, 40),)))

        assert (finding.code, finding.level) == ("side_missing", "look")
        assert (finding.trait, finding.side) == ("hip-laxity", missing)

    def test_a_measure_of_the_whole_dog_has_no_side_to_miss(self) -> None:
        assert findings(make_facts(readings=(ReadingFacts("hip-laxity", "whole", 40),))) == []

    def test_grades_may_well_change_sides(self) -> None:
        facts = make_facts(
            readings=sides(0, 1, "hip-grade"), others=(make_other(300, 1, 0, "hip-grade"),)
        )

        assert findings(facts) == []


class TestChip:
    def test_a_chip_that_was_not_read_is_looked_at(self) -> None:
        finding = only(make_facts(chip_read=False))

        assert (finding.code, finding.level) == ("chip_not_read", "look")

    def test_another_chip_than_the_one_on_record_is_looked_at(self) -> None:
        finding = only(
            make_facts(chip_on_record="276098100000001", chips_seen=("276098100000002",))
        )

        assert (finding.code, finding.level) == ("chip_conflict", "look")
        assert finding.detail["chip_on_record"] == "276098100000001"

    def test_another_dogs_chip_stops(self) -> None:
        finding = only(
            make_facts(
                chip_on_record="276098100000001",
                chips_seen=("276098100000002",),
                chip_owners={"276098100000002": "dog-b"},
            )
        )

        assert (finding.code, finding.level) == ("chip_conflict", "stop")
        assert finding.detail["other_dog"] == "dog-b"

    def test_the_dogs_own_chip_is_no_finding(self) -> None:
        chip = "276098100000001"

        assert findings(make_facts(chip_on_record=chip, chips_seen=(chip,))) == []


class TestDuplicates:
    @pytest.mark.parametrize(
        ("days", "is_found"), [(0, True), (14, True), (-14, True), (15, False)]
    )
    def test_the_same_trait_within_two_weeks_is_looked_at(self, days: int, is_found: bool) -> None:
        codes = [
            finding.code for finding in findings(make_facts(others=(make_other(days, 30, 31),)))
        ]

        assert (codes == ["possible_duplicate"]) is is_found

    def test_another_trait_on_the_same_day_is_no_duplicate(self) -> None:
        assert findings(make_facts(others=(make_other(0, 1, 1, "hip-grade"),))) == []

    def test_the_very_same_values_on_another_day_are_looked_at(self) -> None:
        finding = only(make_facts(others=(make_other(300, 40, 44),)))

        assert (finding.code, finding.detail["kind"]) == ("possible_duplicate", "same_values")
        assert finding.detail["days"] == "300"

    def test_the_same_grades_on_another_day_are_nothing_special(self) -> None:
        facts = make_facts(
            readings=sides(0, 0, "hip-grade"), others=(make_other(300, 0, 0, "hip-grade"),)
        )

        assert findings(facts) == []


def test_a_file_that_another_examination_has_is_looked_at() -> None:
    finding = only(make_facts(evidence_elsewhere={"ab" * 32: "REF0000002"}))

    assert (finding.code, finding.level) == ("same_evidence", "look")
    assert finding.detail == {"sha256": "ab" * 32, "other": "REF0000002"}


def test_what_stops_comes_first() -> None:
    found = findings(make_facts(chip_read=False, born_on=date(2026, 10, 3)))

    assert [finding.level for finding in found] == ["stop", "look"]


def test_clean_records_are_rarely_flagged() -> None:
    # Two thousand dogs of one simulated breed, each examined once or twice without any mistake:
    # sides resemble each other, a second examination resembles the first.
    chance = np.random.default_rng(2026)
    flagged, records = 0, 2_000
    for _ in range(records):
        dog = chance.normal(45, 9)
        first, second = (chance.normal(dog, 4, 2).round().astype(int).clip(8) for _ in range(2))
        others = (make_other(400, *first.tolist()),) if chance.random() < 0.2 else ()
        breed = {"hip-laxity": BreedSpread(400, 45.0, 10.0)}
        facts = make_facts(
            born_on=EXAMINED_ON - timedelta(days=int(chance.integers(130, 3000))),
            received_on=EXAMINED_ON + timedelta(days=int(chance.integers(0, 60))),
            readings=sides(*second.tolist()),
            breed=breed,
            others=others,
        )
        flagged += bool(findings(facts))

    assert flagged / records <= 0.05
