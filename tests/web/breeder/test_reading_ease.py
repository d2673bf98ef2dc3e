"""The breeder's pages read at grade 8 or below by two formulas, in sentences of twenty words."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.factories import make_accepted, make_dog
from tests.web.breeder.conftest import Cast
from tests.web.buyer.reading import ari, coleman_liau, sentences, words


@pytest.mark.parametrize(
    "page", ["choose", "mates", "pair", "close kin", "same sex", "pairs", "no pairs", "litter"]
)
def test_a_page_reads_easily(client: Client, cast: Cast, page: str) -> None:
    html = client.get(_paths(cast)[page]).content.decode()

    # A source's name is a source's name.
    found = [each for each in sentences(html) if "Med Assoc" not in each]

    assert found
    assert [each for each in found if len(words(each)) > 20] == []
    assert ari(found) <= 8
    assert coleman_liau(found) <= 8


def _paths(cast: Cast) -> dict[str, str]:
    juno, otto, half = (dog.public_id for dog in (cast.juno, cast.otto, cast.half))
    return {
        "choose": "/breeding/",
        "mates": f"/dogs/{juno}/mates/",
        "pair": f"/dogs/{juno}/mates/{otto}/",
        "close kin": f"/dogs/{juno}/mates/{half}/",
        "same sex": f"/dogs/{juno}/mates/{cast.wren.public_id}/",
        "pairs": f"/dogs/{juno}/pairs/?mate={otto}&mate={half}",
        "no pairs": f"/dogs/{juno}/pairs/",
        "litter": f"/dogs/{_puppy(cast)}/litter/",
    }


def _puppy(cast: Cast) -> str:
    """One of a litter of three, of whom two are tested."""
    puppies = [make_dog(cast.club, name=name, dam=cast.wren.public_id) for name in ("Jade", "Jess")]
    for puppy in puppies:
        make_accepted(cast.club, puppy)
    return make_dog(cast.club, name="Jock", dam=cast.wren.public_id).public_id
