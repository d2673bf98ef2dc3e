"""The small club every journey walks through: one family, and enough tested dogs to compare."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from statistics import NormalDist
from typing import Any

from registry.models import Certificate, Dog, Role
from tests import factories
from tests.factories import Club

CHIP = "276098106234573"
STRANGERS = 24


@dataclass(frozen=True)
class Family:
    """A tested dog, its tested parents, and a litter mate that is not tested."""

    juno: Certificate
    sire: Certificate
    dam: Certificate
    moss: Dog


def make_named_club() -> Club:
    """The usual cast with a breed and a clinic that have names one can say."""
    club = factories.make_club()
    by = club.secretary.actor
    clinic = factories.make_clinic(by=by, name="Beckside Animal Clinic")
    return replace(
        club,
        breed=factories.make_breed("Tarn Spaniel"),
        clinic=clinic,
        nurse=factories.make_person(Role.CLINIC, clinic=clinic, by=by, name="Nora Fieldgate"),
        registrar=factories.make_person(Role.REGISTRAR, by=by, name="Rhona Millbeck"),
    )


def make_strangers(club: Club, dogs: int = STRANGERS) -> list[Certificate]:
    """Accepted results spread as a bell around 0.40, the same ones every time."""
    bell = NormalDist(0.40, 0.10)
    values = [bell.inv_cdf((place + 0.5) / dogs) for place in range(dogs)]
    return [
        factories.make_accepted(
            club,
            factories.make_dog(club, name=f"Brackenhow {_NAMES[place % len(_NAMES)]}"),
            left=f"{value:.2f}",
            right=f"{value + 0.01:.2f}",
        )
        for place, value in enumerate(values)
    ]


def make_family(club: Club) -> Family:
    dam = factories.make_dog(club, name="Mosedale Wren", born_on=date(2019, 3, 1))
    sire = factories.make_dog(club, name="Fellgate Otto", sex="M", born_on=date(2019, 4, 1))
    parents: dict[str, Any] = {"sire": sire.public_id, "dam": dam.public_id}
    juno = factories.make_dog(club, name="Tarnfold Juno", call_name="Juno", chip=CHIP, **parents)
    return Family(
        juno=factories.make_accepted(club, juno, left="0.31", right="0.35"),
        sire=factories.make_accepted(club, sire, left="0.28", right="0.30"),
        dam=factories.make_accepted(club, dam, left="0.40", right="0.37"),
        moss=factories.make_dog(club, name="Tarnfold Moss", sex="M", **parents),
    )


_NAMES = ("Ada", "Birk", "Clover", "Dart", "Elm", "Fern", "Gale", "Heath")
