"""The names in a certificate's file in words, in the order in which they stand there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.credential.context import TERMS

_WORDS: Mapping[str, str | Promise] = {
    "JointEvaluationCertificate": _("The kind of this file: a club's certificate of one exam."),
    "certificateNumber": _("The number on the paper, without dashes."),
    "breed": _("The breed, by its name in the register."),
    "sex": _("female or male."),
    "bornOn": _("The day the dog was born."),
    "colour": _("The colour of the coat, as in the register."),
    "chipEnd": _("The last six digits of the dog's chip."),
    "examination": _("When and where the dog was looked at."),
    "examinedOn": _("The day of the exam."),
    "clinic": _("The clinic that sent the result."),
    "town": _("The clinic's town."),
    "readings": _("What was read: one entry for each trait and side."),
    "trait": _("Which trait, by its short name in the register."),
    "side": _("left, right, or whole for a trait without sides."),
    "value": _("The value in the trait's own unit, or its grade."),
    "standingAsIssued": _(
        "Where the dog stood among the tested dogs of its breed on the day of issue, for each"
        " trait. Files with the word n count the dog itself, files with others do not."
    ),
    "step": _("The dog's worse side, in whole steps of the trait's scale."),
    "better": _("How many tested dogs did better."),
    "equal": _("How many had the same value."),
    "worse": _("How many did worse."),
    "n": _("How many tested dogs were counted, the dog itself among them. Older files have it."),
    "first_month": _("The first month that was counted, by the first day of it."),
    "last_month": _("The last month that was counted, by the first day of it."),
    "LogInclusion": _("Proof that the issue stands in the club's public log."),
    "entry": _("The line of the log, letter by letter."),
    "path": _("The hashes that lead from the line to the seal, in order (RFC 9162)."),
    "checkpoint": _("The signed seal of the log (C2SP checkpoint)."),
    "others": _("With how many other tested dogs it was compared."),
}


@dataclass(frozen=True, slots=True)
class Told:
    """A name and what it means."""

    name: str
    words: str


def told_terms() -> tuple[Told, ...]:
    """Each name of the context with its words."""
    return tuple(Told(name, str(_WORDS[name])) for name in TERMS)
