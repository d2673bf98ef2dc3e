"""Who can be whose parent: the rules, each with words that say how to put a fault right.

The rules take plain values, so that one dog and a file of twenty thousand are held to the same
ones. Beside them stand the look-ups that one dog's registration and correction need, and the lock
that lets one deed at a time change the pedigree.

A sire may have died long before his litter was born, since frozen semen is used; a dam may not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, NamedTuple

from django.db import connection
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from registry.desk.errors import Problem
from registry.models import Breed, Dog, Sex
from registry.wording import dates

ParentRole = Literal["sire", "dam"]
SEX_OF: dict[ParentRole, Sex] = {"sire": Sex.MALE, "dam": Sex.FEMALE}

# A bitch can have a litter before her first birthday, but a parent as young as this is a slip.
YOUNGEST_PARENT_DAYS = 150
# A bitch carries for about 63 days, so whelpings closer than this cannot both be hers. Common
# practice, no source.
FEWEST_DAYS_BETWEEN_LITTERS = 60

# Any number no other advisory lock of this program has.
_PEDIGREE_LOCK = 7_304_215_511


class Known(NamedTuple):
    """What the rules must know of a dog."""

    name: str
    breed_id: int
    sex: str
    born_on: date
    died_on: date | None

    @classmethod
    def of(cls, dog: Dog) -> Known:
        """The same, of a dog that is loaded."""
        return cls(dog.name, dog.breed_id, dog.sex, dog.born_on, dog.died_on)


@dataclass(frozen=True, slots=True)
class Birth:
    """Which birth the rules are asked about: of a dog of which breed, on which day."""

    breed: Breed | None
    born_on: date


def hold_pedigree() -> None:
    """Let one deed at a time change who descends from whom, or a chip; until the commit.

    Must come before any row is held. Two registrars who make each other's dog a parent would
    otherwise not see each other. SQLite's transaction holds the only write lock already.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_PEDIGREE_LOCK])


def why_not_parent(parent: Known, role: ParentRole, birth: Birth) -> str:
    """Why the dog cannot be sire or dam of the birth, with what to do; empty when it can."""
    said = {"dog": parent.name, "born": dates.day(parent.born_on)}
    days = (birth.born_on - parent.born_on).days
    if parent.sex != SEX_OF[role]:
        return _wrong_sex(role) % said
    if birth.breed is not None and parent.breed_id != birth.breed.pk:
        return _(
            "%(dog)s is entered with another breed. Choose a parent of the same breed, or correct"
            " the breed that is wrong."
        ) % {"dog": parent.name}
    if days < YOUNGEST_PARENT_DAYS:
        return _(
            "%(dog)s is too young to be a parent of this dog: born on %(born)s, it would have been"
            " %(age)s. Check both birth dates, or choose another parent."
        ) % {**said, "age": _age(days)}
    if role == "dam" and parent.died_on is not None and parent.died_on < birth.born_on:
        return _(
            "%(dog)s died on %(died)s, before this dog was born. Check the two dates, or choose"
            " another dam."
        ) % {"dog": parent.name, "died": dates.day(parent.died_on)}
    return ""


def why_not_litter(dam: str, born_on: date, other_litters: Iterable[date]) -> str:
    """Why the dam cannot have whelped on this day beside her other litters; empty when she can.

    ``other_litters`` are birth days; one on the same day is the same litter.
    """
    for other in other_litters:
        days = abs((born_on - other).days)
        if 0 < days < FEWEST_DAYS_BETWEEN_LITTERS:
            return _(
                "%(dam)s whelped on %(other)s, %(days)d days apart from this birth. A bitch carries"
                " for about 63 days. Check the birth date, or choose another dam. A litter born"
                " over midnight is entered under one day."
            ) % {"dam": dam, "other": dates.day(other), "days": days}
    return ""


def same_parent_twice() -> str:
    """One dog was named as sire and as dam."""
    return _("One dog cannot be both sire and dam. Correct one of the two.")


def descends(parent: str) -> str:
    """The parent descends from the dog."""
    return _(
        "%(dog)s descends from this dog, so it cannot be its parent. Check which of the two entries"
        " names the wrong parent."
    ) % {"dog": parent}


def litters_of(dam: Dog, born_on: date, *, besides: Dog | None = None) -> list[date]:
    """Birth days of the dam's litters around a day.

    When a dog's own birth day is put right, the litter it stood in until then is left out: its
    litter mates can only be corrected one after another.
    """
    reach = timedelta(days=FEWEST_DAYS_BETWEEN_LITTERS)
    found = Dog.objects.filter(dam=dam, born_on__gt=born_on - reach, born_on__lt=born_on + reach)
    if besides is not None:
        found = found.exclude(pk=besides.pk)
        if besides.dam_id == dam.pk:
            found = found.exclude(born_on=besides.born_on)
    return sorted(set(found.values_list("born_on", flat=True)))


def offspring_problems(dog: Dog, new: Known) -> list[Problem]:
    """Why the dog's corrected facts no longer fit the offspring it has; each names one of them.

    Only facts that change are asked about: a fault that was there before stops no other correction.
    """
    problems: list[Problem] = []
    sired, whelped = Dog.objects.filter(sire=dog), Dog.objects.filter(dam=dog)
    if new.sex != dog.sex:
        words = _(
            "This dog is entered as a parent of %(dog)s%(more)s. Correct the parents there first,"
            " or leave the sex."
        )
        problems += _about("/sex", whelped if new.sex == Sex.MALE else sired, words)
    if new.born_on != dog.born_on:
        words = _(
            "Born on this day, the dog would have been too young for its offspring %(dog)s%(more)s."
            " Check the day, or correct the parents there first."
        )
        too_early = new.born_on + timedelta(days=YOUNGEST_PARENT_DAYS)
        problems += _about("/born_on", (sired | whelped).filter(born_on__lt=too_early), words)
    if new.breed_id != dog.breed_id:
        words = _(
            "This dog has offspring of another breed: %(dog)s%(more)s. Take it out as their parent"
            " first, or leave the breed."
        )
        problems += _about("/breed", (sired | whelped).exclude(breed_id=new.breed_id), words)
    if new.died_on is not None and new.died_on != dog.died_on:
        words = _(
            "A dam cannot have died before she whelped %(dog)s%(more)s. Check the day, or correct"
            " the dam there first."
        )
        problems += _about("/died_on", whelped.filter(born_on__gt=new.died_on), words)
    return problems


def ancestors_of(dog: Dog) -> set[int]:
    """Primary keys of the dog and all its known ancestors, a generation a query."""
    found: set[int] = set()
    generation = {dog.pk}
    while generation:
        found |= generation
        pairs = Dog.objects.filter(pk__in=generation).values_list("sire_id", "dam_id")
        generation = {pk for pair in pairs for pk in pair if pk is not None} - found
    return found


def _about(pointer: str, young: QuerySet[Dog], words: str) -> list[Problem]:
    """One problem that names the eldest of these dogs, or none when there are none."""
    eldest = young.order_by("born_on", "pk").first()
    if eldest is None:
        return []
    others = young.count() - 1
    more = _(" and %(count)d more") % {"count": others} if others else ""
    return [Problem(pointer, words % {"dog": eldest.name, "more": more})]


def _wrong_sex(role: ParentRole) -> str:
    if role == "sire":
        return _(
            "%(dog)s is not male, so it is no sire. Choose another dog, or correct its sex first."
        )
    return _(
        "%(dog)s is not female, so it is no dam. Choose another dog, or correct its sex first."
    )


def _age(days: int) -> str:
    if days < 0:
        return _("not born yet")
    return _("%(days)d days old") % {"days": days}
