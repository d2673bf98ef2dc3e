"""The six things a look-up of a certificate number can find: word and first sentences of each.

Pages and paper say the same words. Which one applies is decided by the caller.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from registry.wording import dates

Kind = Literal["genuine", "replaced", "revoked", "not-released", "not-found", "other-dog"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """``word`` is the heading of the verdict, ``lines`` its sentences in order."""

    kind: Kind
    word: str
    lines: tuple[str, ...]


def what_genuine_means() -> str:
    """Stands with every genuine and current verdict."""
    return _(
        "The club did issue this. It describes one examination on one day. "
        "It does not promise the dog or its puppies will stay healthy."
    )


def what_paper_cannot_say() -> str:
    """Stands on every sheet that was current when it was printed: paper cannot vouch for itself."""
    return _(
        "Anybody can print a sheet like this. The code below leads to the club's page, which says "
        "whether it is genuine and still holds. It describes one examination on one day. "
        "It does not promise the dog or its puppies will stay healthy."
    )


def genuine() -> Verdict:
    """Issued by the club, and nothing newer has taken its place."""
    return Verdict("genuine", _("Genuine and current"), (what_genuine_means(),))


def replaced(on: dt.date | None, reason: str = "") -> Verdict:
    """Issued by the club; another result holds now. With a ``reason`` the club has corrected this
    one, of the same exam; without one a newer exam has overtaken it."""
    if reason:
        word = _("Genuine, replaced by a corrected result")
        since = (
            _("A corrected result took its place on %(day)s.") % {"day": dates.day(on)}
            if on
            else _("A corrected result has taken its place.")
        )
        lines = (_("The club did issue this. %(since)s Use that one.") % {"since": since},)
        return Verdict("replaced", word, _with_reason(lines, reason))
    since = (
        _("A newer result took its place on %(day)s.") % {"day": dates.day(on)}
        if on
        else _("A newer result has taken its place.")
    )
    lines = (_("The club did issue this. %(since)s Use the newer one.") % {"since": since},)
    return Verdict("replaced", _("Genuine, replaced by a newer result"), lines)


def revoked(on: dt.date | None, reason: str) -> Verdict:
    """Issued by the club and taken back since."""
    word = _("Revoked on %(day)s") % {"day": dates.day(on)} if on else _("Revoked")
    lines = (_("The club has taken this certificate back. Do not rely on it."),)
    return Verdict("revoked", word, _with_reason(lines, reason))


def not_released() -> Verdict:
    """Examined and accepted, but the owner has not agreed to show the result."""
    return Verdict(
        "not-released",
        _("Exam registered, result not released"),
        (
            _("The club has this exam on record. The owner has not agreed to show the result."),
            _("This is neither a good sign nor a bad one. Ask the owner to show you the result."),
        ),
    )


def not_found(what_to_check: str) -> Verdict:
    """No certificate has this number."""
    return Verdict("not-found", _("Not found"), (what_to_check,))


def other_dog(asked: str, on_paper: str) -> Verdict:
    """The number is genuine but was issued for another dog than the one asked about.

    ``asked`` names what the reader compared with: a dog's name or the end of a chip number.
    """
    return Verdict(
        "other-dog",
        _("Number is for a different dog"),
        (
            _("This number belongs to %(dog)s. You asked about %(asked)s.")
            % {"dog": on_paper, "asked": asked},
            _("Do not rely on it for your dog. Ask the seller, or ask the club."),
        ),
    )


def slip(code: str, typed: int) -> str:
    """What is wrong with a number as typed, and what to do; ``code`` of science's NumberProblem."""
    sentences = {
        "empty": _("Type the number that is printed on the certificate."),
        "too_short": _("A number has 10 letters and digits. You typed %(typed)d. Add the rest."),
        "too_long": _("A number has 10 letters and digits. You typed %(typed)d. Take some out."),
        "letter": _("A number has only digits and the letters A to Z."),
        "check": _("One letter or digit looks wrong, or two are swapped. Check these letters."),
    }
    return sentences[code] % {"typed": typed}


def unknown_number() -> str:
    """For a number that adds up but was never given out."""
    return _("The club has issued no certificate with this number. Check these letters.")


def _with_reason(lines: tuple[str, ...], reason: str) -> tuple[str, ...]:
    return (*lines, _("Reason: %(reason)s") % {"reason": reason}) if reason else lines
