"""Install the traits that come with the program; a club changes them or adds its own later."""

from __future__ import annotations

import json

from django.conf import settings
from django.db import transaction

from registry.desk.actor import Actor
from registry.desk.catalogue import save_trait
from registry.models import Trait


def install_traits(*, by: Actor) -> list[Trait]:
    """Add the shipped traits that are missing and return them; what a club has changed stays."""
    told = json.loads((settings.BASE_DIR / "fixtures" / "traits.json").read_text("utf-8"))
    with transaction.atomic():
        known = set(Trait.objects.values_list("slug", flat=True))
        return [
            save_trait(
                by=by,
                slug=item["slug"],
                facts={name: value for name, value in item.items() if name != "slug"},
            )
            for item in told
            if item["slug"] not in known
        ]
