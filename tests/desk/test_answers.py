"""The answers of a form, a file or a program are read exactly, or every fault is said at its
place."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from registry.desk.answers import Answers, look_over, read_answers
from registry.desk.errors import Invalid
from registry.models import Side, Trait
from tests.factories import make_traits

pytestmark = pytest.mark.django_db

GOOD: dict[str, Any] = {
    "dog": {"chip": "276098106234567"},
    "examined_on": "2026-10-02",
    "examiner": "Dr. Vera Oakhollow",
    "conditions": {"restraint": "sedation", "chip_read": True, "weight_kg": "18.5"},
    "readings": [{"trait": "hip-laxity", "side": "left", "value": "0.31"}],
    "owner": {"full_name": "Olga Reedmoor", "email": "olga@owner.example"},
    "consent_to_publish": True,
}


@pytest.fixture
def traits() -> dict[str, Trait]:
    make_traits()
    return {trait.slug: trait for trait in Trait.objects.all()}


def reading(**members: Any) -> dict[str, Any]:
    return {"trait": "hip-laxity", "side": "left", "value": "0.31", **members}


def conditions(**members: Any) -> dict[str, Any]:
    return {"conditions": {**GOOD["conditions"], **members}}


def without(*names: str) -> dict[str, Any]:
    return {name: value for name, value in reading().items() if name not in names}


# What is sent instead of a good member, where the fault lies, and words of the sentence about it.
BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"dog": None}, "/dog", "give its chip number"),
    ({"dog": {"name": "Juno"}}, "/dog", "give its chip number"),
    ({"dog": {"chip": 276098106234567}}, "/dog", "give its chip number"),
    ({"examined_on": None}, "/examined_on", "year-month-day"),
    ({"examined_on": "2.10.2026"}, "/examined_on", "year-month-day"),
    ({"examined_on": "20261002"}, "/examined_on", "year-month-day"),
    ({"examined_on": "2026-02-30"}, "/examined_on", "year-month-day"),
    ({"examined_on": "2026-W40-5"}, "/examined_on", "year-month-day"),
    ({"examiner": "  "}, "/examiner", "name of the veterinarian"),
    ({"examiner": 7}, "/examiner", "name of the veterinarian"),
    ({"examiner": "V" * 121}, "/examiner", "120 characters"),
    ({"examiner": "Vera\x00Oak"}, "/examiner", "cannot be printed"),
    ({"conditions": None}, "/conditions/restraint", "how the dog was kept still"),
    (conditions(restraint="asleep"), "/conditions/restraint", "general-anaesthesia"),
    (conditions(chip_read="yes"), "/conditions/chip_read", "true or false"),
    (conditions(weight_kg="much"), "/conditions/weight_kg", "kilograms"),
    (conditions(weight_kg="0.1"), "/conditions/weight_kg", "kilograms"),
    (conditions(weight_kg="1850"), "/conditions/weight_kg", "kilograms"),
    (conditions(chip_as_read="12345"), "/conditions/chip_as_read", "15 digits"),
    (conditions(sedated=True), "/conditions/sedated", "no such field"),
    ({"readings": []}, "/readings", "at least one reading"),
    ({"readings": "0.31"}, "/readings", "at least one reading"),
    ({"readings": ["0.31"]}, "/readings/0", "object with trait, side and value"),
    ({"readings": [reading(trait="hips")]}, "/readings/0/trait", "hip-laxity"),
    ({"readings": [reading(trait=["hip-laxity"])]}, "/readings/0/trait", "hip-laxity"),
    ({"readings": [reading(side="whole")]}, "/readings/0/side", "left, right"),
    ({"readings": [without("side")]}, "/readings/0/side", "left, right"),
    ({"readings": [without("value")]}, "/readings/0/value", "head radius and displacement"),
    ({"readings": [reading(value="tight")]}, "/readings/0/value", "number like 0.05"),
    ({"readings": [reading(value="nan")]}, "/readings/0/value", "number like 0.05"),
    ({"readings": [reading(value="1e999999")]}, "/readings/0/value", "number like 0.05"),
    ({"readings": [reading(value="1_0")]}, "/readings/0/value", "number like 0.05"),
    ({"readings": [reading(value=0.31)]}, "/readings/0/value", "number like 0.05"),
    ({"readings": [reading(value=0.31)]}, "/readings/0/value", "as text, in quotes"),
    (conditions(weight_kg=18.5), "/conditions/weight_kg", "in quotes"),
    ({"readings": [reading(value=True)]}, "/readings/0/value", "number like 0.05"),
    ({"readings": [reading(value="31")]}, "/readings/0/value", "Check the decimal point"),
    ({"readings": [reading(value="0.315")]}, "/readings/0/value", "Enter 0.31 or 0.32"),
    ({"readings": [reading(head_radius_mm="0", displacement_mm="3")]},
     "/readings/0/head_radius_mm", "more than 0 mm"),
    ({"readings": [reading(head_radius_mm="11", displacement_mm="33")]},
     "/readings/0/head_radius_mm", "whole width of the femoral head"),
    ({"readings": [reading(head_radius_mm="11")]}, "/readings/0/displacement_mm", "millimetres"),
    ({"readings": [reading(head_radius_mm="-1", displacement_mm="3")]},
     "/readings/0/head_radius_mm", "millimetres"),
    ({"readings": [reading(trait="norberg-angle", value="104.5", head_radius_mm="11")]},
     "/readings/0", "not computed from radius"),
    ({"readings": [reading(), reading(value="0.35")]}, "/readings/1", "Reading 1 already"),
    ({"owner": "Olga"}, "/owner", "full_name and email"),
    ({"owner": {"email": "olga@owner.example"}}, "/owner/full_name", "owner's full name"),
    ({"owner": {"full_name": "Olga", "email": "olga"}}, "/owner/email", "name@example.org"),
    ({"owner": {"full_name": "Olga", "email": ["a@b.example"]}}, "/owner/email", "name@example"),
    ({"consent_to_publish": "yes"}, "/consent_to_publish", "true or false"),
    ({"evidence": "abc"}, "/evidence", "list of file ids"),
    ({"evidence": [1]}, "/evidence", "list of file ids"),
    ({"consent": True}, "/consent", "no such field"),
    ({"left/right": 1}, "/left~1right", "no such field"),
    ({"a~b": 1}, "/a~0b", "no such field"),
]  # fmt: skip


@pytest.mark.parametrize(("members", "pointer", "words"), BAD)
def test_a_fault_is_said_where_it_lies(
    traits: dict[str, Trait], members: dict[str, Any], pointer: str, words: str
) -> None:
    with pytest.raises(Invalid) as refused:
        read_answers({**GOOD, **members}, traits=traits)

    assert pointer in [problem.pointer for problem in refused.value.problems]
    (said,) = [p.message for p in refused.value.problems if p.pointer == pointer]
    assert words in said


def test_every_fault_is_said_at_once(traits: dict[str, Trait]) -> None:
    with pytest.raises(Invalid) as refused:
        read_answers({}, traits=traits)

    assert [problem.pointer for problem in refused.value.problems] == [
        "/dog",
        "/examined_on",
        "/examiner",
        "/conditions/restraint",
        "/conditions/chip_read",
        "/readings",
    ]


def test_one_bad_reading_does_not_hide_the_good_one(traits: dict[str, Trait]) -> None:
    body = {**GOOD, "readings": [reading(value="tight"), reading(side="right")]}

    answers, problems = look_over(body, traits=traits)

    assert [problem.pointer for problem in problems] == ["/readings/0/value"]
    assert [said.side for said in answers.readings] == [Side.RIGHT]


class TestWhatIsTaken:
    def read(self, traits: dict[str, Trait], **members: Any) -> Answers:
        return read_answers({**GOOD, **members}, traits=traits)

    def test_a_decimal_comma_is_a_point(self, traits: dict[str, Trait]) -> None:
        answers = self.read(
            traits, readings=[reading(value="0,31")], **conditions(weight_kg=" 18,5 ")
        )

        assert answers.readings[0].step == 31
        assert answers.conditions["weight_kg"] == "18.5"

    def test_a_half_degree_is_a_step(self, traits: dict[str, Trait]) -> None:
        answers = self.read(traits, readings=[reading(trait="norberg-angle", value="104.5")])

        assert answers.readings[0].step == 209

    def test_the_index_is_computed_from_radius_and_displacement(
        self, traits: dict[str, Trait]
    ) -> None:
        measured = reading(value="", head_radius_mm="12,5", displacement_mm="5")

        answers = self.read(traits, readings=[measured])

        (said,) = answers.readings
        assert said.step == 40
        assert (said.head_radius_mm, said.displacement_mm) == (Decimal("12.5"), Decimal(5))

    def test_a_spoken_index_stands_beside_what_it_was_measured_from(
        self, traits: dict[str, Trait]
    ) -> None:
        both = reading(value="0.55", head_radius_mm="12.5", displacement_mm="5")

        assert self.read(traits, readings=[both]).readings[0].step == 55

    def test_a_chip_is_kept_as_it_should_be_written(self, traits: dict[str, Trait]) -> None:
        answers = self.read(traits, **conditions(chip_as_read="276 098 106 234 567"))

        assert answers.conditions["chip_as_read"] == "276098106234567"

    def test_silence_is_not_consent(self, traits: dict[str, Trait]) -> None:
        assert self.read(traits, consent_to_publish=None).consent_to_publish is False

    def test_an_owner_may_be_unknown(self, traits: dict[str, Trait]) -> None:
        assert self.read(traits, owner=None).owner is None

    def test_a_file_named_twice_counts_once(self, traits: dict[str, Trait]) -> None:
        assert self.read(traits, evidence=["b", "a", "b"]).evidence == ("b", "a")

    def test_spaces_in_a_name_are_tidied(self, traits: dict[str, Trait]) -> None:
        assert self.read(traits, examiner="  Vera \t Oakhollow ").examiner == "Vera Oakhollow"

    def test_a_small_grade_is_the_grade(self, traits: dict[str, Trait]) -> None:
        graded = next(trait for trait in traits.values() if trait.is_graded and trait.is_per_side)
        last = len(graded.grades) - 1
        text = f" {str(graded.grades[last]).lower()} "

        answers = self.read(traits, readings=[reading(trait=graded.slug, value=text)])

        assert answers.readings[0].step == last

    def test_an_unknown_grade_is_refused_with_the_known_ones(
        self, traits: dict[str, Trait]
    ) -> None:
        graded = next(trait for trait in traits.values() if trait.is_graded and trait.is_per_side)

        with pytest.raises(Invalid, match="Enter one of these grades") as refused:
            self.read(traits, readings=[reading(trait=graded.slug, value="Q9")])

        assert refused.value.problems[0].pointer == "/readings/0/value"
