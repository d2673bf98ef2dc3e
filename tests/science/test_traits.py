"""The shipped traits: complete, on their own scale, and each with its sources."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from registry.science.scale import exact_step

TRAITS: list[dict[str, Any]] = json.loads(
    (Path(__file__).resolve().parents[2] / "fixtures" / "traits.json").read_text("utf-8")
)
EACH = pytest.mark.parametrize("trait", TRAITS, ids=[trait["slug"] for trait in TRAITS])


def test_the_five_traits_are_shipped_in_order() -> None:
    assert [trait["slug"] for trait in TRAITS] == [
        "hip-laxity",
        "hip-laxity-compression",
        "norberg-angle",
        "hip-grade-extended",
        "elbow-grade",
    ]
    assert [trait["position"] for trait in TRAITS] == [1, 2, 3, 4, 5]


def test_only_the_compression_view_stays_out_of_the_distributions() -> None:
    assert [trait["slug"] for trait in TRAITS if not trait["is_counted"]] == [
        "hip-laxity-compression"
    ]


@EACH
def test_limits_and_guidance_lie_on_the_scale(trait: dict[str, Any]) -> None:
    resolution = Decimal(trait["resolution"])
    low, high = (exact_step(Decimal(trait[end]), resolution) for end in ("lowest", "highest"))

    assert low < high
    for point in trait["guidance"]:
        assert low < exact_step(Decimal(point["value"]), resolution) < high
    assert exact_step(Decimal(trait["side_difference"]), resolution) > 0


@EACH
def test_every_guidance_point_has_a_sentence_and_a_source(trait: dict[str, Any]) -> None:
    for point in trait["guidance"]:
        assert set(point) == {"value", "side", "meaning", "sentence", "source"}
        assert point["side"] in {"below", "above", "from"}
        assert point["sentence"].endswith(".")
        assert point["meaning"]
        assert point["source"]


@EACH
def test_no_reader_meets_how_a_source_was_looked_for(trait: dict[str, Any]) -> None:
    shown = json.dumps(trait)

    assert "memory" not in shown
    assert "no source" not in shown


@EACH
def test_graded_traits_have_a_step_for_each_grade(trait: dict[str, Any]) -> None:
    if trait["kind"] == "graded":
        assert (trait["lowest"], trait["highest"]) == ("0", str(len(trait["grades"]) - 1))
        assert trait["resolution"] == "1"
    else:
        assert trait["grades"] == []


@EACH
def test_what_has_no_published_source_says_so(trait: dict[str, Any]) -> None:
    sources = trait["sources"]

    assert {"minimum_age_days", "side_difference"} <= set(sources)
    assert all(sources.values())


@EACH
def test_the_published_shares_of_the_variance_leave_something_for_the_rest(
    trait: dict[str, Any],
) -> None:
    heritability = Decimal(trait["heritability_prior"])
    litter = Decimal(trait["litter_share_prior"])

    assert heritability > 0
    assert litter >= 0
    assert heritability + litter < 1
    assert {"heritability_prior", "litter_share_prior"} <= set(trait["sources"])
