"""The tested puppies of one litter, compared, and the next step in words.

A difference between litter mates is mostly chance and measurement; nothing here calls one of them
the best. Fewer than two released results are no comparison.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.queries.breed_counts import BreedCounts
from registry.queries.places import place_of
from registry.queries.public import PublicDog, PublicTrait, Relative, ReleasedValue
from registry.telling.breeding import trait_words
from registry.telling.guidance import better_end
from registry.wording import dates
from registry.wording.standings import short_grades, short_standing

_SEXES = {"F": gettext_lazy("female"), "M": gettext_lazy("male")}


@dataclass(frozen=True, slots=True)
class Puppy:
    """One of the litter in the list."""

    name: str
    href: str
    role: str
    result: str
    is_tested: bool


@dataclass(frozen=True, slots=True)
class ComparedPuppy:
    """A tested puppy: its worse side's value, and where it stands among the breed's tested dogs."""

    name: str
    sex: str
    value: str
    standing: str


@dataclass(frozen=True, slots=True)
class ComparedTrait:
    """The tested puppies by one trait, from the better end on."""

    slug: str
    title: str
    lead: str
    rows: tuple[ComparedPuppy, ...]


@dataclass(frozen=True, slots=True)
class LitterMatesTold:
    """The page of a litter. ``traits`` and ``next_steps`` are empty below two tested puppies."""

    count: str
    sentences: tuple[str, ...]
    traits: tuple[ComparedTrait, ...]
    next_steps: tuple[str, ...]
    puppies: tuple[Puppy, ...]


def litter_mates_told(
    dog: PublicDog,
    litter: Sequence[Relative],
    traits: Sequence[PublicTrait],
    counts: BreedCounts,
) -> LitterMatesTold:
    """Put the page together; ``litter`` holds the dog itself and its litter mates by name."""
    tested = sum(bool(each.values) for each in litter)
    compared = tuple(
        each for each in (_compared(trait, litter, counts) for trait in traits) if each is not None
    )
    return LitterMatesTold(
        count=_count(tested, len(litter)),
        sentences=_sentences(dog, len(litter), bool(compared)),
        traits=compared,
        next_steps=_next_steps(len(litter) - tested) if compared else (),
        puppies=tuple(_puppy(each) for each in litter),
    )


def _count(tested: int, puppies: int) -> str:
    return ngettext(
        "Puppy of this litter with a result to show: %(tested)d of %(all)d.",
        "Puppies of this litter with a result to show: %(tested)d of %(all)d.",
        puppies,
    ) % {"tested": tested, "all": puppies}


def _sentences(dog: PublicDog, puppies: int, is_compared: bool) -> tuple[str, ...]:
    born = _("Born on %(day)s.") % {"day": dates.day(dog.born_on)}
    if dog.dam_id is None:
        return (born, _("The dam is not on record, so its litter mates are not known."))
    if is_compared:
        return (
            born,
            _("Litter mates share about half of their genes. The rest is dealt out by chance."),
        )
    if puppies == 1:
        return (born, _("No litter mates are in this register."))
    return (born, _("It takes two tested puppies to compare. Ask the owners to have more tested."))


def _compared(
    trait: PublicTrait, litter: Sequence[Relative], counts: BreedCounts
) -> ComparedTrait | None:
    """The puppies with a released value of the trait, or None below two."""
    found = [(value, puppy) for puppy in litter for value in puppy.values if value.trait == trait]
    if len(found) < 2:
        return None
    sign = 1 if trait.better == "lower" else -1
    found.sort(key=lambda each: (sign * each[0].step, each[1].name))
    first, last = found[0][0].step, found[-1][0].step
    if not trait.grades:
        # Numbers are told in their own order; grades from the best.
        first, last = min(first, last), max(first, last)
    return ComparedTrait(
        slug=trait.slug,
        title=trait.name,
        lead=_lead(trait, len(found), trait.value_text(first), trait.value_text(last)),
        rows=tuple(
            ComparedPuppy(
                name=puppy.name,
                sex=str(_SEXES[puppy.sex]),
                value=trait.value_text(value.step),
                standing=_standing(value, counts),
            )
            for value, puppy in found
        ),
    )


def _lead(trait: PublicTrait, tested: int, first: str, last: str) -> str:
    if first == last:
        said = (
            _("All %(tested)d tested puppies have grade %(value)s.")
            if trait.grades
            else _("All %(tested)d tested puppies have %(value)s.")
        )
        if tested == 2:
            said = (
                _("Both tested puppies have grade %(value)s.")
                if trait.grades
                else _("Both tested puppies have %(value)s.")
            )
        return said % {"tested": tested, "value": first}
    if trait.grades:
        return _("The grades of the %(tested)d tested puppies go from %(first)s to %(last)s.") % {
            "tested": tested,
            "first": first,
            "last": last,
        }
    return _(
        "The %(tested)d tested puppies lie between %(first)s and %(last)s, each with its worse "
        "side. %(better)s A small difference says little."
    ) % {
        "tested": tested,
        "first": first,
        "last": last,
        "better": better_end(trait),
    }


def _standing(value: ReleasedValue, counts: BreedCounts) -> str:
    """Where the puppy stands among the other tested dogs of the breed."""
    trait = value.trait
    place = place_of(
        counts,
        trait.pk,
        value.step,
        trait.better,
        evaluation_id=value.evaluation_id or 0,
    )
    if trait.grades:
        return short_grades(place.standing)
    return short_standing(place.standing, words=trait_words(trait))


def _next_steps(untested: int) -> tuple[str, ...]:
    steps = [
        _(
            "The best placed puppies may be kept for breeding, if the health of the whole dog "
            "agrees."
        ),
        _("Look for a mate that is strong where the puppy is weak, and not a close relative."),
        _("Talk to a vet before you decide."),
    ]
    if untested:
        steps.insert(
            1,
            ngettext(
                "%(count)d puppy has no result to show. Ask its owner whether it was tested: it "
                "may be better or worse.",
                "%(count)d puppies have no result to show. Ask their owners whether they were "
                "tested: they may be better or worse.",
                untested,
            )
            % {"count": untested},
        )
    return tuple(steps)


def _puppy(each: Relative) -> Puppy:
    return Puppy(
        name=each.name,
        href=f"/dogs/{each.public_id}/",
        role=str(_SEXES[each.sex]),
        result=", ".join(
            f"{value.trait.name} {value.trait.value_text(value.step)}" for value in each.values
        )
        or _("not tested or not released"),
        is_tested=bool(each.values),
    )
