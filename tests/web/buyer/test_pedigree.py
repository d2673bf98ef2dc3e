"""Three generations of ancestors: each with its released result, or with words for none."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.desk.merge import merge_dogs
from registry.models import Dog
from registry.queries.ancestors import ancestors_of
from registry.queries.public_dogs import public_dog, public_traits
from tests import factories
from tests.factories import Club


def with_ancestors(club: Club, year: int, generations: int, **facts: Any) -> Dog:
    """A dog whose ancestors are all known for so many generations."""
    parents: dict[str, Any] = {}
    if generations:
        for role, sex in (("sire", "M"), ("dam", "F")):
            parent = with_ancestors(club, year - 3, generations - 1, sex=sex)
            parents[role] = parent.public_id
    return factories.make_dog(club, **{"born_on": date(year, 1, 1), **parents, **facts})


def test_fourteen_ancestors_are_found_with_two_queries(club: Club) -> None:
    dog = public_dog(with_ancestors(club, 2024, 4).public_id)
    traits = public_traits()
    assert dog is not None

    with CaptureQueriesContext(connection) as queries:
        found = ancestors_of(dog, traits)

    assert len(queries) == 2
    assert len({each.public_id for each in found}) == 14
    assert [each.line for each in found[:3]] == [("sire",), ("dam",), ("sire", "sire")]
    assert [each.line for each in found][-1] == ("dam", "dam", "dam")


def test_an_ancestor_is_where_its_line_says(club: Club) -> None:
    grandsire = factories.make_dog(club, sex="M", born_on=date(2015, 1, 1))
    dam = factories.make_dog(club, born_on=date(2018, 1, 1), sire=grandsire.public_id)
    dog = public_dog(factories.make_dog(club, dam=dam.public_id).public_id)
    assert dog is not None

    found = {each.line: each.public_id for each in ancestors_of(dog, ())}

    assert found == {("dam",): dam.public_id, ("dam", "sire"): grandsire.public_id}


def test_a_dog_that_stands_in_two_places_is_counted_once(club: Club, client: Client) -> None:
    common = factories.make_dog(club, sex="M", born_on=date(2012, 1, 1))
    sire, dam = (
        factories.make_dog(club, sex=sex, born_on=date(2018, 1, 1), sire=common.public_id)
        for sex in ("M", "F")
    )
    dog = factories.make_dog(club, sire=sire.public_id, dam=dam.public_id)

    html = client.get(f"/dogs/{dog.public_id}/").content.decode()

    assert "3 ancestors are in this register. With a result to show: 0." in html
    assert html.count(f'href="/dogs/{common.public_id}/"') == 2


@pytest.mark.parametrize("is_released", [True, False])
def test_only_a_released_result_is_shown(club: Club, client: Client, is_released: bool) -> None:
    granddam = factories.make_dog(club, born_on=date(2015, 1, 1))
    dam = factories.make_dog(club, born_on=date(2018, 1, 1), dam=granddam.public_id)
    dog = factories.make_dog(club, dam=dam.public_id)
    factories.make_accepted(
        club, granddam, left="0.41", right="0.42", consent_to_publish=is_released
    )

    html = client.get(f"/dogs/{dog.public_id}/").content.decode()

    assert ("0.42" in html) is is_released
    assert html.count("not tested or not released") == (1 if is_released else 2)


def test_a_parent_that_is_not_known_is_said_so(club: Club, client: Client) -> None:
    html = client.get(f"/dogs/{factories.make_dog(club).public_id}/").content.decode()

    assert "No ancestor of this dog is in this register." in html
    assert html.count("Not in this register") == 2


def test_a_merged_entrys_link_leads_to_its_dog(club: Club, client: Client) -> None:
    keep, drop = factories.make_dog(club), factories.make_dog(club, chip="")
    merge_dogs(
        by=club.registrar.actor,
        keep=keep.public_id,
        drop=drop.public_id,
        versions=None,
        reason="entered twice",
    )

    response = client.get(f"/dogs/{drop.public_id}/")

    assert (response.status_code, response["Location"]) == (301, f"/dogs/{keep.public_id}/")
