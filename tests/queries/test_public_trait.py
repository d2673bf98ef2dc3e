"""A step of a grade in words: the grades there are, and none beyond them."""

from __future__ import annotations

import pytest

from registry.models import Trait
from registry.queries.public_dogs import public_traits
from tests.factories import make_traits


@pytest.mark.django_db
@pytest.mark.parametrize(("step", "word"), [(-1, ""), (0, "A"), (4, "E"), (5, "")])
def test_a_step_has_its_grade_or_none(step: int, word: str) -> None:
    make_traits()
    assert Trait.objects.get(slug="hip-grade-extended").grades == ["A", "B", "C", "D", "E"]
    (grade,) = (trait for trait in public_traits() if trait.slug == "hip-grade-extended")

    assert grade.value_text(step) == word
