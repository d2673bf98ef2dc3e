"""Three generations of ancestors as a nested list: who each is, and what is released of it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.queries.ancestors import GENERATIONS, PARENTS, Ancestor

_ROLES = {
    ("sire",): gettext_lazy("Sire"),
    ("dam",): gettext_lazy("Dam"),
    ("sire", "sire"): gettext_lazy("Sire’s sire"),
    ("sire", "dam"): gettext_lazy("Sire’s dam"),
    ("dam", "sire"): gettext_lazy("Dam’s sire"),
    ("dam", "dam"): gettext_lazy("Dam’s dam"),
    ("sire", "sire", "sire"): gettext_lazy("Sire’s sire’s sire"),
    ("sire", "sire", "dam"): gettext_lazy("Sire’s sire’s dam"),
    ("sire", "dam", "sire"): gettext_lazy("Sire’s dam’s sire"),
    ("sire", "dam", "dam"): gettext_lazy("Sire’s dam’s dam"),
    ("dam", "sire", "sire"): gettext_lazy("Dam’s sire’s sire"),
    ("dam", "sire", "dam"): gettext_lazy("Dam’s sire’s dam"),
    ("dam", "dam", "sire"): gettext_lazy("Dam’s dam’s sire"),
    ("dam", "dam", "dam"): gettext_lazy("Dam’s dam’s dam"),
}


@dataclass(frozen=True, slots=True)
class Branch:
    """One place of the pedigree and those above it. ``href`` is empty for a dog that the register
    does not know; its own ancestors are left out then."""

    role: str
    name: str
    href: str
    born: str
    result: str
    is_tested: bool
    parents: tuple[Branch, ...]


@dataclass(frozen=True, slots=True)
class Pedigree:
    """The sentence, and sire and dam with all that is above them."""

    sentence: str
    parents: tuple[Branch, ...]


def pedigree(ancestors: tuple[Ancestor, ...]) -> Pedigree:
    """The ancestors as a tree, and how many of them have a result to show."""
    by_line = {each.line: each for each in ancestors}
    dogs = {each.public_id: bool(each.values) for each in ancestors}
    return Pedigree(_sentence(len(dogs), sum(dogs.values())), _above((), by_line))


def _above(line: tuple[str, ...], by_line: dict[tuple[str, ...], Ancestor]) -> tuple[Branch, ...]:
    if len(line) == GENERATIONS:
        return ()
    return tuple(_branch((*line, step), by_line) for step in PARENTS)


def _branch(line: tuple[str, ...], by_line: dict[tuple[str, ...], Ancestor]) -> Branch:
    role = str(_ROLES[line])
    each = by_line.get(line)
    if each is None:
        return Branch(role, _("Not in this register"), "", "", "", is_tested=False, parents=())
    return Branch(
        role=role,
        name=each.name,
        href=f"/dogs/{each.public_id}/",
        born=str(each.born_on.year),
        result=", ".join(
            f"{value.trait.name} {value.trait.value_text(value.step)}" for value in each.values
        )
        or _("not tested or not released"),
        is_tested=bool(each.values),
        parents=_above(line, by_line),
    )


def _sentence(known: int, tested: int) -> str:
    if not known:
        return _("No ancestor of this dog is in this register.")
    return ngettext(
        "%(known)d ancestor is in this register. With a result to show: %(tested)d.",
        "%(known)d ancestors are in this register. With a result to show: %(tested)d.",
        known,
    ) % {"known": known, "tested": tested}
