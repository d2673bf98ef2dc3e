"""The scenario's words and numbers, read from ``fixtures/demo.json`` into typed facts."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from registry.demo.measures import Joints


@dataclass(frozen=True, slots=True)
class BreedWords:
    """One invented breed; ``share`` of all dogs, ``examined`` and ``elbow_share`` as chances."""

    name: str
    slug: str
    prefix: str
    share: float
    selection: float
    examined: float
    elbow_share: float
    weight_kg: dict[str, float]
    colours: tuple[str, ...]
    joints: Joints


@dataclass(frozen=True, slots=True)
class ClinicWords:
    """One invented clinic; ``index_shift`` is how much higher it measures hip laxity, and
    ``compression_share`` how often it takes the compression view."""

    key: str
    name: str
    town: str
    email: str
    share: float
    index_shift: float
    compression_share: float
    examiners: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PersonWords:
    """One invented person who signs in; ``clinic`` is a clinic's key or empty."""

    role: str
    login: str
    full_name: str
    email: str
    clinic: str


@dataclass(frozen=True, slots=True)
class Words:
    """Everything of the file."""

    seed: int
    dogs: int
    years_of_results: int
    chip_prefix: str
    breeds: tuple[BreedWords, ...]
    clinics: tuple[ClinicWords, ...]
    people: tuple[PersonWords, ...]
    tokens: tuple[dict[str, str], ...]
    kennels: tuple[str, ...]
    first_words: tuple[str, ...]
    second_words: tuple[str, ...]
    kennels_abroad: tuple[str, ...]
    words_abroad: tuple[str, ...]
    call_names: dict[str, list[str]]
    owners: dict[str, list[str]]
    reasons: dict[str, Any]


def read_words(path: Path) -> Words:
    """Read the file; a missing or misspelt member raises."""
    told = json.loads(path.read_text("utf-8"))
    return Words(
        seed=told["seed"],
        dogs=told["dogs"],
        years_of_results=told["years_of_results"],
        chip_prefix=told["chip_prefix"],
        breeds=tuple(_breed(item) for item in told["breeds"]),
        clinics=tuple(
            ClinicWords(**{**item, "examiners": tuple(item["examiners"])})
            for item in told["clinics"]
        ),
        people=tuple(PersonWords(**{"clinic": "", **item}) for item in told["people"]),
        tokens=tuple(told["tokens"]),
        kennels=tuple(told["kennels"]),
        first_words=tuple(told["first_words"]),
        second_words=tuple(told["second_words"]),
        kennels_abroad=tuple(told["kennels_abroad"]),
        words_abroad=tuple(told["words_abroad"]),
        call_names=told["call_names"],
        owners=told["owners"],
        reasons=told["reasons"],
    )


def _breed(item: dict[str, Any]) -> BreedWords:
    joints = Joints(**{name: item[name] for name in Joints.__slots__})
    plain = {name: item[name] for name in BreedWords.__slots__ if name not in ("joints", "colours")}
    return BreedWords(**plain, colours=tuple(item["colours"]), joints=joints)
