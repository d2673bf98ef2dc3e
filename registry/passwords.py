"""What makes a long password easy to guess all the same. Length and the list of common passwords
are Django's own validators."""

from __future__ import annotations

import re
from itertools import pairwise

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser
from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

_LONG_ENOUGH = 15
_FEWEST_SIGNS = 6
_PIECE = re.compile(r"(.{1,8}?)\1+.{0,7}", re.DOTALL)
_TRIMMINGS = "0123456789 !?.,;:-_*+#@$%&/()=\"'"


class EasilyGuessedValidator:
    """Refuse what stretches something short to the length that is asked for.

    Few different signs; one piece over and over; a run like ``abcdefghijklmno``; a common password
    or the club's own name with digits and stops around it.
    """

    def __init__(self) -> None:
        self._common: set[str] = CommonPasswordValidator().passwords

    def validate(self, password: str, user: AbstractBaseUser | None = None) -> None:
        """Raise ValidationError for one that is long enough and easily guessed all the same."""
        word = password.casefold()
        if len(word) < _LONG_ENOUGH:
            return
        if len(set(word)) < _FEWEST_SIGNS or _PIECE.fullmatch(word) or _is_run(word):
            raise ValidationError(
                _("This repeats itself or follows a row. Choose a sentence of your own."),
                code="password_is_a_pattern",
            )
        core = word.strip(_TRIMMINGS)
        club = settings.CLUB_NAME.casefold()
        if core in self._common or core in {club, club.replace(" ", ""), "soundline"}:
            raise ValidationError(
                _("This is a well-known word with signs around it. Choose a sentence of your own."),
                code="password_is_a_known_word",
            )

    def get_help_text(self) -> str:
        """What to do, for a form."""
        return _("A sentence of your own is easy to keep in mind and hard to guess.")


def _is_run(word: str) -> bool:
    """Whether nearly every sign is the next, or the one before, of its neighbour."""
    steps = [ord(after) - ord(before) for before, after in pairwise(word)]
    return max(steps.count(1), steps.count(-1)) >= len(steps) - 2
