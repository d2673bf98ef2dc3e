"""One pair: kinship, and the litter that each trait's breeding values lead to expect; or why not.

The numbers are those of the breed's latest run. Whose result is not released is asked of the
register as it is today: with that dog no forecast is made. Reads only; the words are
``registry.telling.breeding``'s.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Literal

from registry.models import Trait
from registry.queries.breeding import (
    DogValue,
    RunFacts,
    RunTable,
    TraitFacts,
    dog_value,
    latest_run,
    run_table,
    withheld_traits,
)
from registry.queries.public import PublicDog
from registry.science import kinship as kinships
from registry.science.grade_forecast import GradeForecast, grade_forecast
from registry.science.litter import Forecast, forecast

Relation = Literal["", "parent", "full-siblings", "half-siblings"]


class Why(StrEnum):
    """Why there is no list, no kinship or no forecast."""

    NO_RUN = "no-run"
    NO_VALUES = "no-values"
    AFTER_RUN = "after-run"
    WITHHELD = "withheld"
    SAME_DOG = "same-dog"
    SAME_SEX = "same-sex"
    OTHER_BREED = "other-breed"
    DEAD_DAM = "dead-dam"


class NoAnswer(Exception):
    """There is no answer, and why; ``dog`` is the one it is about, or None."""

    def __init__(self, why: Why, dog: PublicDog | None = None) -> None:
        super().__init__(why.value)
        self.why = why
        self.dog = dog


@dataclass(frozen=True, slots=True)
class KinshipFacts:
    """Two dogs' coefficient of kinship, which is the inbreeding to expect of their puppies."""

    run: RunFacts
    kinship: float
    relation: Relation


@dataclass(frozen=True, slots=True)
class PairTrait:
    """One trait of a pair. Without a forecast, ``withheld`` names whose result is not released.
    ``ends`` are the lowest and the highest value that the trait's scale has."""

    facts: TraitFacts
    ends: tuple[Decimal, Decimal]
    sire: DogValue
    dam: DogValue
    withheld: tuple[PublicDog, ...]
    forecast: Forecast | GradeForecast | None


@dataclass(frozen=True, slots=True)
class PairFacts:
    """What is known of a pair."""

    run: RunFacts
    sire: PublicDog
    dam: PublicDog
    kinship: float
    relation: Relation
    traits: tuple[PairTrait, ...]


def pair(one: PublicDog, other: PublicDog) -> PairFacts:
    """The facts of a pair, in whichever order it is named. Raises NoAnswer.

    A dead sire is no obstacle, as his semen may be stored; a dead dam is.
    """
    if one.pk == other.pk:
        raise NoAnswer(Why.SAME_DOG, one)
    if one.sex == other.sex:
        raise NoAnswer(Why.SAME_SEX)
    sire, dam = (one, other) if one.sex == "M" else (other, one)
    if dam.died_on is not None:
        raise NoAnswer(Why.DEAD_DAM, dam)
    facts = kinship_of(sire, dam)
    table = run_table(facts.run.pk)
    hidden = {dog.pk: withheld_traits(dog.pk) for dog in (sire, dam)}
    ends = {
        pk: (low, high) for pk, low, high in Trait.objects.values_list("pk", "lowest", "highest")
    }
    return PairFacts(
        run=facts.run,
        sire=sire,
        dam=dam,
        kinship=facts.kinship,
        relation=facts.relation,
        traits=tuple(
            _pair_trait(
                table,
                each,
                ends[each.trait.pk],
                (sire, dam),
                tuple(dog for dog in (sire, dam) if each.trait.pk in hidden[dog.pk]),
                facts.kinship,
            )
            for each in facts.run.traits
        ),
    )


def kinship_of(one: PublicDog, other: PublicDog) -> KinshipFacts:
    """How closely two dogs of one breed are related; of a dog with itself it is ½(1 + F). Raises
    NoAnswer."""
    if one.breed_id != other.breed_id:
        raise NoAnswer(Why.OTHER_BREED)
    run = run_of(one)
    table = run_table(run.pk)
    places = [_place(table, dog) for dog in (one, other)]
    return KinshipFacts(
        run=run,
        kinship=kinships.kinship(table.pedigree, table.inbreeding, *places),
        relation=_relation(one, other),
    )


def run_of(dog: PublicDog) -> RunFacts:
    """The latest run of the dog's breed; raises NoAnswer when there is none yet."""
    run = latest_run(dog.breed_id)
    if run is None:
        raise NoAnswer(Why.NO_RUN)
    return run


def litter_of(sire: DogValue, dam: DogValue, kinship: float) -> Forecast | GradeForecast:
    """The litter to expect from two dogs' breeding values, neither of them withheld: the one place
    where lists, pairs and the interface have it from."""
    numbers = sire.value, dam.value, sire.error_variance, dam.error_variance
    if None in numbers:
        raise ValueError("no forecast is made with a breeding value that is withheld")
    facts = sire.facts
    parents = {
        "sire_value": sire.value or 0.0,
        "dam_value": dam.value or 0.0,
        "sire_error_variance": sire.error_variance or 0.0,
        "dam_error_variance": dam.error_variance or 0.0,
        "sire_inbreeding": sire.inbreeding,
        "dam_inbreeding": dam.inbreeding,
        "kinship": kinship,
    }
    if facts.grades is not None:
        return grade_forecast(**parents, breed=facts.grades)
    return forecast(
        **parents, variances=facts.variances, base=facts.base, better=facts.trait.better
    )


def _place(table: RunTable, dog: PublicDog) -> int:
    place = table.place_of(dog.pk)
    if place is None:
        raise NoAnswer(Why.AFTER_RUN, dog)
    return place


def _pair_trait(
    table: RunTable,
    facts: TraitFacts,
    ends: tuple[Decimal, Decimal],
    dogs: tuple[PublicDog, PublicDog],
    withheld: tuple[PublicDog, ...],
    kinship: float,
) -> PairTrait:
    sire, dam = (dog_value(table, facts, _place(table, dog), dog in withheld) for dog in dogs)
    return PairTrait(
        facts, ends, sire, dam, withheld, None if withheld else litter_of(sire, dam, kinship)
    )


def _relation(one: PublicDog, other: PublicDog) -> Relation:
    if one.pk in (other.sire_id, other.dam_id) or other.pk in (one.sire_id, one.dam_id):
        return "parent"
    shared = [
        mine is not None and mine == theirs
        for mine, theirs in ((one.sire_id, other.sire_id), (one.dam_id, other.dam_id))
    ]
    if all(shared):
        return "full-siblings"
    return "half-siblings" if any(shared) else ""
