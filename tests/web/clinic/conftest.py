"""A club with one dog, and its nurse signed in."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from registry.models import Dog, Draft
from tests import factories
from tests.factories import Club
from tests.web.clinic import desk


@pytest.fixture
def club(db: None) -> Club:
    return factories.make_club()


@pytest.fixture
def nurse(club: Club) -> Client:
    return desk.signed_in(club.nurse)


@pytest.fixture
def juno(club: Club) -> Dog:
    dam = factories.make_dog(club, name="Mosedale Wren", born_on=date(2019, 3, 1))
    sire = factories.make_dog(club, name="Fellgate Otto", sex="M", born_on=date(2019, 4, 1))
    return factories.make_dog(
        club,
        name="Tarnfold Juno",
        colour="liver",
        chip="276090000123456",
        studbook_number="TS 4711",
        sire=sire.public_id,
        dam=dam.public_id,
    )


@pytest.fixture
def draft(club: Club, juno: Dog) -> Draft:
    return desk.started(club.nurse, juno)
