"""What the views of breeding values share: their dogs, and why a question has no answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from rest_framework.response import Response

from api.problems import answer, problem
from api.view import ApiView
from registry.desk.errors import NotFound
from registry.queries.pairs import NoAnswer, Why
from registry.queries.public import PublicDog
from registry.queries.public_dogs import public_dog
from registry.telling.breeding import why_words

# What may have an answer after the next run; the others will have none.
_NOT_YET = (Why.NO_RUN, Why.NO_VALUES, Why.AFTER_RUN)


class BreedingView(ApiView):
    """Answers NoAnswer as a problem: 404 where a later run may know more, else 409."""

    def get_exception_handler(self) -> Any:
        """Problem details for everything."""
        return _answer


def dog_of(public_id: str) -> PublicDog:
    """The dog of a path or query; raises NotFound."""
    found = public_dog(public_id)
    if found is None:
        raise NotFound(_("There is no such dog."))
    return found


def _answer(error: Exception, context: Mapping[str, Any]) -> Response:
    if not isinstance(error, NoAnswer):
        return answer(error, context)
    words = why_words(error)
    return problem(
        404 if error.why in _NOT_YET else 409,
        words.text,
        kind="no-answer",
        title=words.title,
        why=error.why.value,
    )
