"""A trait's name makes its address, which no other page may have."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.conf import settings

from registry.desk import catalogue
from registry.desk.actor import Actor
from registry.desk.errors import Invalid
from registry.models import Trait

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("slug", ["open", "complete"])
def test_a_trait_cannot_take_the_address_of_a_page(slug: str) -> None:
    shipped = json.loads((Path(settings.BASE_DIR) / "fixtures/traits.json").read_text("utf-8"))
    facts = {name: value for name, value in shipped[0].items() if name != "slug"}

    with pytest.raises(Invalid, match="address of another page"):
        catalogue.save_trait(by=Actor.system(), slug=slug, facts=facts)

    assert not Trait.objects.exists()
