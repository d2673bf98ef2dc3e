"""Every flag that a check can raise has a name and a sentence of its own, with its numbers in
it."""

from __future__ import annotations

import pytest

from registry.models import Flag
from registry.queries.flag_words import FLAG_NAMES, words_of

DETAILS: dict[str, list[tuple[dict[str, str], str]]] = {
    "too_young": [({"age_days": "104", "minimum_age_days": "112"}, "104 days")],
    "outside_plausible": [
        ({"value": "1.40", "lowest": "0.05", "highest": "1.20"}, "0.05 to 1.20"),
        ({"value": "1.40", "lowest": "", "highest": "1.20"}, "1.40"),
    ],
    "beyond_four_sd": [
        ({"value": "0.99", "mean": "0.450", "sd": "0.100", "dogs": "180"}, "180 dogs")
    ],
    "index_mismatch": [
        (
            {
                "value": "0.50",
                "head_radius_mm": "11.2",
                "displacement_mm": "3.9",
                "computed": "0.35",
            },
            "0.35",
        ),
        (
            {
                "value": "0.50",
                "head_radius_mm": "1.1",
                "displacement_mm": "3.9",
                "problem": "impossible",
            },
            "cannot both be right",
        ),
    ],
    "sides_differ": [({"left": "0.20", "right": "0.90", "usual": "0.20"}, "0.90")],
    "side_missing": [({}, "not read")],
    "sides_swapped": [({"left": "0.20", "right": "0.30", "other": "ABCDEFGHJK"}, "ABC-DEFG-HJK")],
    "chip_not_read": [({}, "not read")],
    "chip_conflict": [
        ({"chip": "276098100000001", "other_dog": "x"}, "another dog"),
        ({"chip": "276098100000001", "chip_on_record": "276098100000002"}, "276 098 100 000 002"),
    ],
    "date_conflict": [
        ({"examined_on": "2026-10-02", "kind": "future"}, "2 October 2026"),
        ({"examined_on": "2010-10-02", "kind": "long_ago"}, "ten years"),
        (
            {"examined_on": "2026-10-02", "kind": "before_birth", "born_on": "2026-10-03"},
            "3 October 2026",
        ),
        (
            {"examined_on": "2026-10-02", "kind": "after_death", "died_on": "2026-10-01"},
            "1 October 2026",
        ),
        ({"examined_on": "2026-10-02", "kind": "very_old"}, "twenty years"),
    ],
    "age_unknown": [({}, "birth date")],
    "possible_duplicate": [
        (
            {"kind": "same_days", "other": "ABCDEFGHJK", "other_examined_on": "2026-10-01"},
            "ABC-DEFG-HJK",
        ),
        (
            {"kind": "same_values", "other": "ABCDEFGHJK", "other_examined_on": "2026-10-01"},
            "same values",
        ),
    ],
    "same_evidence": [({"sha256": "0" * 64, "other": "ABCDEFGHJK"}, "ABC-DEFG-HJK")],
    "dog_unconfirmed": [({}, "confirmed")],
}


def test_every_named_flag_is_tried_here() -> None:
    assert set(DETAILS) == set(FLAG_NAMES)


@pytest.mark.parametrize(
    ("code", "detail", "said"),
    [(code, detail, said) for code, cases in DETAILS.items() for detail, said in cases],
)
def test_a_flag_says_what_is_wrong_with_its_numbers(
    code: str, detail: dict[str, str], said: str
) -> None:
    words = words_of(Flag(code=code, level="look", detail=detail))

    assert said in words.sentence
    assert words.name != code
    assert "%(" not in words.sentence
