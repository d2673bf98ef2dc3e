"""Reasons are needed, kept without blanks around them, and no longer than can be read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from registry.desk import decide, reasons, revoke, second_look, sign_in, submit
from registry.desk.errors import Invalid
from registry.models import Evaluation, LedgerText
from tests.factories import Club, make_accepted, make_club, make_submitted

TOO_LONG = "x" * 4_001


def test_blanks_around_it_go() -> None:
    assert reasons.needed("  typed wrongly \n", "Say why.") == "typed wrongly"
    assert reasons.at_most("   ") == ""


@pytest.mark.parametrize("given", ["", "   ", "\n"])
def test_none_is_refused_in_the_words_of_the_deed(given: str) -> None:
    with pytest.raises(Invalid, match="Say why the window changes"):
        reasons.needed(given, "Say why the window changes.")


@pytest.mark.parametrize("given", [TOO_LONG, " " * 4_001, "x" * 4_000 + " "])
def test_its_length_is_that_of_what_was_sent(given: str) -> None:
    with pytest.raises(Invalid, match=r"4,000 characters"):
        reasons.at_most(given)


def test_four_thousand_are_taken() -> None:
    assert len(reasons.needed("x" * 4_000, "Say why.")) == 4_000


Deed = Callable[[Club], Any]


def _submitted(club: Club) -> Evaluation:
    return make_submitted(club)


DEEDS: dict[str, Deed] = {
    "withdraw": lambda club: submit.withdraw(
        by=club.nurse.actor, evaluation_id=_submitted(club).public_id, reason=TOO_LONG
    ),
    "accept": lambda club: decide.accept(
        by=club.registrar.actor, evaluation_id=_submitted(club).public_id, reason=TOO_LONG
    ),
    "return": lambda club: decide.return_for_correction(
        by=club.registrar.actor, evaluation_id=_submitted(club).public_id, reason=TOO_LONG
    ),
    "revoke": lambda club: revoke.revoke(
        by=club.registrar.actor,
        evaluation_id=make_accepted(club).evaluation.public_id,
        reason=TOO_LONG,
    ),
    "leave it": lambda club: second_look.drop(
        by=club.registrar.actor, look_id="nothing", reason=TOO_LONG
    ),
    "remove second steps": lambda club: sign_in.remove_second_steps(
        by=club.secretary.actor, user_id=club.nurse.user.pk, reason=TOO_LONG
    ),
}


@pytest.mark.django_db
@pytest.mark.parametrize("deed", DEEDS)
def test_one_that_is_too_long_changes_nothing(deed: str) -> None:
    club = make_club()
    asked = DEEDS[deed]

    with pytest.raises(Invalid, match=r"4,000 characters"):
        asked(club)

    assert not LedgerText.objects.filter(text__contains=TOO_LONG).exists()
