"""A breed with a breeding run: Juno, males to choose from, and some tested dogs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pytest

from registry.models import BreedingRun, Dog
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_accepted, make_club, make_dog


@dataclass(frozen=True)
class Cast:
    """Juno is the dog whose mates are looked at; Otto is tested, Rook is not, Half is her half
    brother, Wren another female."""

    club: Club
    juno: Dog
    otto: Dog
    rook: Dog
    half: Dog
    wren: Dog
    run: BreedingRun


@pytest.fixture
def club(db: None) -> Club:
    return make_club()


@pytest.fixture
def cast(club: Club) -> Cast:
    sire = make_dog(club, name="Fellgate Ash", sex="M", born_on=date(2019, 4, 1))
    juno = make_dog(
        club, name="Tarnfold Juno", call_name="Juno", born_on=date(2022, 1, 15), sire=sire.public_id
    )
    otto = make_dog(club, name="Mosedale Otto", sex="M", born_on=date(2021, 3, 4))
    rook = make_dog(club, name="Brackenhow Rook", sex="M", born_on=date(2022, 6, 7))
    half = make_dog(
        club, name="Fellgate Half", sex="M", born_on=date(2022, 5, 1), sire=sire.public_id
    )
    wren = make_dog(club, name="Mosedale Wren", born_on=date(2020, 3, 4))
    make_accepted(club, otto, left="0.29", right="0.33")
    make_accepted(club, juno, left="0.41", right="0.45")
    value = {juno: -0.01, otto: -0.09, rook: 0.0, half: 0.03, sire: 0.01, wren: 0.02}
    laxity = TraitColumns(
        value=value,
        reliability={juno: 0.5, otto: 0.62, rook: 0.2, half: 0.3},
        record={juno: 0.43, otto: 0.31},
    )
    angle = TraitColumns(
        value={juno: 0.5, otto: 1.5}, base=103.0, middle=103.5, reliability={juno: 0.4, otto: 0.4}
    )
    run = make_run(club.breed, traits={"hip-laxity": laxity, "norberg-angle": angle})
    return Cast(club, juno, otto, rook, half, wren, run)
