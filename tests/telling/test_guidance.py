"""What guidance points say of one dog's value, and what both ends of a picture are called."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings

from registry.queries.public import PublicTrait
from registry.science.distribution import Histogram
from registry.telling.guidance import axis_ends, better_end, guidance_sentences, notes_of

SHIPPED = {
    item["slug"]: item
    for item in json.loads((Path(settings.BASE_DIR) / "fixtures/traits.json").read_text("utf-8"))
}


def trait(slug: str) -> PublicTrait:
    item = SHIPPED[slug]
    return PublicTrait(
        pk=1,
        slug=slug,
        name=item["name"],
        unit=item["unit"],
        resolution=Decimal(item["resolution"]),
        better="lower" if item["kind"] == "graded" else item["better"],
        better_word=item["better_word"],
        worse_word=item["worse_word"],
        joint=item["joint"],
        is_per_side=True,
        is_counted=True,
        grades=item["grades"],
        guidance=item["guidance"],
    )


class TestOfOneDog:
    @pytest.mark.parametrize(
        ("step", "said"),
        [
            (
                22,
                (
                    "0.22 lies below 0.30, where arthritis of the hips is held to be rare"
                    " (common practice)."
                ),
            ),
            (
                49,
                (
                    "0.49 lies above 0.45, where disease of the hips is held to be more likely"
                    " (common practice)."
                ),
            ),
            (
                83,
                (
                    "0.83 lies above 0.70, where disease of the hips is held to be highly likely"
                    " (common practice)."
                ),
            ),
        ],
    )
    def test_the_nearest_point_that_holds_speaks(self, step: int, said: str) -> None:
        assert guidance_sentences(trait("hip-laxity"), step) == (said,)

    def test_between_two_points_both_are_told_and_neither_is_claimed(self) -> None:
        said = guidance_sentences(trait("hip-laxity"), 38)

        assert said[0] == "0.38 lies between 0.30 and 0.45."
        assert said[1:] == (
            "Below 0.30, arthritis of the hips is held to be rare (common practice).",
            "Above 0.45, disease of the hips is held to be more likely (common practice).",
        )

    @pytest.mark.parametrize("step", [30, 45])
    def test_a_value_on_the_limit_is_on_neither_side(self, step: int) -> None:
        place, *told = guidance_sentences(trait("hip-laxity"), step)

        assert place == f"0.{step} lies on the limit itself."
        assert len(told) == 1

    def test_a_value_on_a_higher_limit_is_still_above_the_lower_one(self) -> None:
        assert guidance_sentences(trait("hip-laxity"), 70)[0].startswith("0.70 lies above 0.45")

    @pytest.mark.parametrize(
        ("step", "said"),
        [
            (210, "105.0° is 105° or more, where the angle is taken as normal (common practice)."),
            (199, "99.5° lies below 105°."),
        ],
    )
    def test_an_angle_is_normal_from_the_point_on(self, step: int, said: str) -> None:
        assert guidance_sentences(trait("norberg-angle"), step)[0] == said

    def test_a_trait_without_points_says_nothing(self) -> None:
        assert guidance_sentences(trait("elbow-grade"), 1) == ()

    def test_a_point_of_a_former_version_stays_in_the_details(self) -> None:
        item = [{"value": "0.45", "sentence": "Above 0.45, more likely.", "source": "a vet"}]
        old = trait("hip-laxity")
        plain = PublicTrait(
            **{name: getattr(old, name) for name in old.__slots__} | {"guidance": item}
        )

        assert guidance_sentences(plain, 49) == ()
        assert notes_of(plain)[0].sentence == "Above 0.45, more likely."


class TestTheEnds:
    def test_both_ends_of_the_data_are_named_with_word_and_value(self) -> None:
        counts = Histogram.of_steps([5, 40, 97])

        assert axis_ends(trait("hip-laxity"), counts) == ("Tighter, to 0.05", "Looser, to 0.97")

    def test_of_an_angle_the_larger_end_is_the_better_one(self) -> None:
        counts = Histogram.of_steps([180, 200, 236])

        better, worse = axis_ends(trait("norberg-angle"), counts)

        assert (better, worse) == ("Better-fitting, to 118.0°", "Worse-fitting, to 90.0°")

    def test_grades_stand_on_the_axis_so_their_ends_are_words_alone(self) -> None:
        counts = Histogram.of_steps([0, 1, 3])

        assert axis_ends(trait("elbow-grade"), counts) == ("Better grade", "Worse grade")


@pytest.mark.parametrize(
    ("slug", "said"),
    [
        ("hip-laxity", "Tighter is better."),
        ("norberg-angle", "A larger angle is better."),
        ("hip-grade-extended", "A is the best grade."),
        ("elbow-grade", "0 is the best grade."),
    ],
)
def test_which_end_is_better_is_said_and_says_something(slug: str, said: str) -> None:
    assert better_end(trait(slug)) == said
