"""The content of a dog's page: its results newest first, its family, and what changed."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from registry.models import State
from registry.queries.ancestors import ancestors_of
from registry.queries.announcements import announcements_of_dog
from registry.queries.history import PublicEntry, changes_of_dog
from registry.queries.public import PublicDog, family_of
from registry.queries.public_dogs import (
    MOST_OFFSPRING,
    PublicResult,
    offspring_of,
    public_traits,
    results_of,
)
from registry.science.numbers import format_number
from registry.telling.facts import Fact, dog_facts
from registry.telling.meanings import values_text
from registry.web.buyer.announced import AnnouncedLine, announced_line
from registry.web.buyer.certificate_page import Kin, kin, litter_count
from registry.web.buyer.changes import Event, changed_facts
from registry.web.buyer.pedigree import Pedigree, pedigree
from registry.wording import dates


@dataclass(frozen=True, slots=True)
class ResultLine:
    """One examination in the list: its state, its certificate and the values that may be shown."""

    state: str
    word: str
    examined: str
    number: str
    href: str
    values: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class DogPage:
    """Everything the dog's page says."""

    public_id: str
    name: str
    facts: tuple[Fact, ...]
    results: tuple[ResultLine, ...]
    announced: tuple[AnnouncedLine, ...]
    shows_values: bool
    pedigree: Pedigree
    litter: tuple[Kin, ...]
    litter_count: str
    offspring: tuple[Kin, ...]
    offspring_count: str
    events: tuple[Event, ...]


def dog_page(dog: PublicDog) -> DogPage:
    """Put the page together: eight queries besides the dog's own."""
    traits = public_traits()
    counted = [trait for trait in traits if trait.is_counted]
    results = tuple(result_line(result) for result in results_of(dog, traits))
    family = family_of(dog, counted)
    litter = [kin(each) for each in family if each.relation == "litter"]
    offspring = [kin(each) for each in offspring_of(dog, counted)]
    return DogPage(
        public_id=dog.public_id,
        name=dog.name,
        facts=dog_facts(dog),
        results=results,
        announced=tuple(announced_line(each) for each in announcements_of_dog(dog.pk)),
        shows_values=any(result.values for result in results),
        pedigree=pedigree(ancestors_of(dog, counted)),
        litter=tuple(litter),
        litter_count=litter_count(litter),
        offspring=tuple(offspring),
        offspring_count=_offspring_count(offspring),
        events=events_of_dog(changes_of_dog(dog.public_id)),
    )


def result_line(result: PublicResult) -> ResultLine:
    """One examination in words. What is not released has a state of its own."""
    if result.state == State.REVOKED:
        state, word = "revoked", _("Taken back by the club")
    elif not result.is_released:
        state, word = "not-released", _("Examined, result not released")
    elif result.state == State.REPLACED:
        state, word = (
            "replaced",
            (
                _("Replaced by a corrected result")
                if result.is_corrected
                else _("Replaced by a newer result")
            ),
        )
    else:
        state, word = "current", _("Current")
    return ResultLine(
        state=state,
        word=word,
        examined=_("Examined on %(day)s") % {"day": dates.day(result.examined_on)},
        number=format_number(result.number),
        href=f"/C/{result.number}",
        values=tuple(
            Fact(
                read.trait.name,
                values_text(read)
                if read.counts or not read.trait.is_counted
                else _uncounted(result) % {"values": values_text(read)},
            )
            for read in result.readings
        ),
    )


def _uncounted(result: PublicResult) -> str:
    """How values stand there that do not count: why not."""
    if result.is_corrected:
        return _("%(values)s (corrected since)")
    return _("%(values)s (a newer exam counts now)")


def _offspring_count(offspring: list[Kin]) -> str:
    if not offspring:
        return ""
    tested = sum(each.is_tested for each in offspring)
    if len(offspring) >= MOST_OFFSPRING:
        return _("The latest %(all)d are shown. With a result to show: %(tested)d.") % {
            "tested": tested,
            "all": len(offspring),
        }
    return _("With a result to show: %(tested)d of %(all)d.") % {
        "tested": tested,
        "all": len(offspring),
    }


def events_of_dog(entries: list[PublicEntry]) -> tuple[Event, ...]:
    """The changes in words. The owner's wish is told of accepted results only, and of what stands
    corrected in their place: of others nothing was shown."""
    accepted = {each.evaluation for each in entries if each.action == "evaluation.accepted"}
    accepted |= {each.replaced_by for each in entries if each.replaced_by}
    told = (
        entry
        for entry in entries
        if entry.action != "evaluation.consent" or entry.evaluation in accepted
    )
    return tuple(event for entry in told if (event := _event(entry)))


def _event(entry: PublicEntry) -> Event | None:
    """A change in words; None for one that says nothing to the public."""
    titles = {
        "evaluation.accepted": _("Certificate issued"),
        "evaluation.revoked": _("Certificate taken back"),
        "evaluation.replaced": _("Certificate replaced by a corrected one"),
        "dog.registered": _("Dog registered"),
        "dog.confirmed": _("Dog confirmed by a registrar"),
        "dog.corrected": _("Facts put right"),
        "dog.merged": _("Double entry of this dog merged"),
        "announcement.made": _("Examination announced"),
        "announcement.withdrawn": _("Announcement withdrawn"),
    }
    changes: tuple[object, ...] = ()
    if entry.action in ("dog.corrected", "dog.merged"):
        changes = changed_facts(entry)
    if entry.action == "dog.corrected" and not changes:
        return None
    title = titles.get(entry.action) or (
        _("Result shown to everyone, as the owner agreed")
        if entry.published
        else _("Result no longer shown, as the owner wished")
    )
    return Event(title, entry.at, reason=entry.reason, changes=changes)
