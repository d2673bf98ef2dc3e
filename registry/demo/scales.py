"""The invented club's own grades: it has taken up no published scale, but chosen plain words.

How well the socket holds the head of the hip, and how the edges of the elbow's bones look.
"""

from __future__ import annotations

from typing import Any

from registry.desk.actor import Actor
from registry.desk.catalogue import save_trait
from registry.models import Better, Kind

HIP_FIT = ("snug", "close", "part", "loose", "out")
ELBOW_EDGES = ("clean", "trace", "plain", "heavy")


def choose_scales(*, by: Actor) -> None:
    """Add the club's two graded traits."""
    save_trait(
        by=by,
        slug="hip-grade-extended",
        facts=_facts(
            HIP_FIT,
            name="Hip fit",
            joint="hip",
            better_word="better-fitting",
            worse_word="worse-fitting",
            position=4,
            heritability_prior="0.30",
        ),
    )
    save_trait(
        by=by,
        slug="elbow-grade",
        facts=_facts(
            ELBOW_EDGES,
            name="Elbow edges",
            joint="elbow",
            better_word="cleaner",
            worse_word="rougher",
            position=5,
            heritability_prior="0.25",
        ),
    )


def _facts(grades: tuple[str, ...], **own: Any) -> dict[str, Any]:
    """What the club's graded traits have in common; the numbers are as invented as the club."""
    return {
        "kind": Kind.GRADED,
        "unit": "",
        "resolution": "1",
        "lowest": "0",
        "highest": str(len(grades) - 1),
        "is_per_side": True,
        "better": Better.LOWER,
        "minimum_age_days": 365,
        "grades": list(grades),
        "guidance": [],
        "is_counted": True,
        "side_difference": "2",
        "litter_share_prior": "0.05",
        **own,
    }
