"""What a certificate's file says: never a raw code, and nothing of a result that it has not."""

from __future__ import annotations

from typing import Any

from registry.telling.signed import signed_facts


def document(readings: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "credentialSubject": {
            "certificateNumber": "NMEWNZXHHE",
            "name": "Juno",
            "readings": readings,
            "standingAsIssued": {"hip-laxity": {"better": 235, "equal": 12, "worse": 178}},
        }
    }


def test_a_standing_is_named_by_the_trait_of_its_reading() -> None:
    reading = {"trait": "hip-laxity", "name": "Hip laxity", "side": "left", "value": "0.31"}

    facts = {fact.term: fact.value for fact in signed_facts(document([reading]))}

    assert facts["Hip laxity, left"] == "0.31"
    assert "Hip laxity, among tested dogs that day" in facts


def test_a_file_without_readings_tells_neither_code_nor_standing() -> None:
    told = str(signed_facts(document([])))

    assert "hip-laxity" not in told
    assert "235" not in told


def test_a_standing_among_others_says_so() -> None:
    reading = {"trait": "hip-laxity", "name": "Hip laxity", "side": "left", "value": "0.31"}
    file = document([reading])
    file["credentialSubject"]["standingAsIssued"]["hip-laxity"]["others"] = 424

    facts = {fact.term: fact.value for fact in signed_facts(file)}

    term = "Hip laxity, among the other tested dogs that day"
    assert facts[term] == "235 better, 12 the same, 178 worse"
