"""What every page about breeding says alike: from which run it speaks, why there is no answer, how
a number of a trait is written, and what a dog hands on.

Facts of ``registry.queries`` in, finished strings out. Sentences about forecasts that need no dog
and no run are ``registry.wording.breeding``'s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.queries.breeding import DogValue, RunFacts, TraitFacts
from registry.queries.pairs import NoAnswer, Why
from registry.queries.public import PublicTrait, ReleasedValue
from registry.queries.run_lines import RunLine
from registry.science.litter import Forecast
from registry.wording import dates
from registry.wording.breeding import Value, reliability_words
from registry.wording.grades import borrowed_share_words, not_inherited_words
from registry.wording.standings import TraitWords


@dataclass(frozen=True, slots=True)
class Reason:
    """A notice: its bold first line, and its text."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class RunWords:
    """From which run a page speaks, and what came in since; ``behind`` is empty for nothing."""

    line: str
    behind: str


def run_words(run: RunFacts) -> RunWords:
    """The run in words."""
    line = ngettext(
        "This speaks from breeding run %(number)d of %(day)s, made with %(dogs)s dog.",
        "This speaks from breeding run %(number)d of %(day)s, made with %(dogs)s dogs.",
        run.dogs,
    ) % {"number": run.number, "day": dates.day(run.finished_at), "dogs": f"{run.dogs:,}"}
    behind = ""
    if run.is_behind:
        behind = ngettext(
            "%(count)s result or entry came in since. The next run includes it.",
            "%(count)s results or entries came in since. The next run includes them.",
            run.results_since,
        ) % {"count": f"{run.results_since:,}"}
    return RunWords(line, behind)


def run_line_words(run: RunLine) -> str:
    """A breed's latest run in half a line."""
    return ngettext(
        "Run %(number)d, %(day)s, %(dogs)s dog",
        "Run %(number)d, %(day)s, %(dogs)s dogs",
        run.dogs,
    ) % {"number": run.number, "day": dates.day(run.finished_at), "dogs": f"{run.dogs:,}"}


def why_words(answer: NoAnswer) -> Reason:
    """Why there is no list, no kinship or no forecast, and what can be done."""
    dog = {"dog": answer.dog.name if answer.dog else _("this dog")}
    said = {
        Why.NO_RUN: (
            _("There is no breeding run yet"),
            _("The club has not worked out breeding values for this breed. Come back later."),
        ),
        Why.NO_VALUES: (
            _("Too few results"),
            _("The last breeding run had too few results to work out breeding values."),
        ),
        Why.AFTER_RUN: (
            _("Not in the last run"),
            _("%(dog)s came into the register after the last run. The next run includes it."),
        ),
        Why.WITHHELD: (
            _("The owner has not released the result"),
            _("%(dog)s was tested, but its result is private. So nothing is forecast with it."),
        ),
        Why.SAME_DOG: (
            _("This is the same dog twice"),
            _("Choose another dog as the mate of %(dog)s."),
        ),
        Why.SAME_SEX: (
            _("Both dogs have the same sex"),
            _("A pair needs a male and a female. Choose another mate."),
        ),
        Why.OTHER_BREED: (
            _("The dogs are of two breeds"),
            _("Breeding values of two breeds do not compare. Choose a mate of the same breed."),
        ),
        Why.DEAD_DAM: (
            _("The dam is no longer alive"),
            _("%(dog)s has died, so there will be no more litters. Choose another dam."),
        ),
    }
    title, text = said[answer.why]
    return Reason(title, text % dog)


def trait_words(trait: PublicTrait) -> TraitWords:
    """What the club calls the trait's ends and the joint."""
    return TraitWords(trait.better_word, trait.worse_word, trait.joint)


def value_writer(trait: PublicTrait) -> Value:
    """How a number of the trait is written: ``0.43``, ``104.5°``, ``B``."""
    return partial(record_text, trait)


def record_text(trait: PublicTrait, value: float) -> str:
    """A number in the trait's unit as its nearest step; of a graded trait the nearest grade."""
    step = round(value / float(trait.resolution))
    if trait.grades:
        step = min(max(step, 0), len(trait.grades) - 1)
    return trait.value_text(step)


def difference_text(trait: PublicTrait, difference: float) -> str:
    """How far two numbers of the trait lie apart, without a sign."""
    if trait.grades:
        return _("%(grades)s of a grade") % {"grades": f"{abs(difference):.1f}"}
    return record_text(trait, abs(difference))


def hundredths(share: float) -> str:
    """A share as a number of 100 with one decimal, where it is not whole: ``6.3``, ``4``."""
    return f"{100 * share:.1f}".removesuffix(".0")


def released_text(trait: PublicTrait, released: ReleasedValue | None) -> str:
    """A dog's own result, or the words for none."""
    if released is None:
        return _("not tested or not released")
    return trait.value_text(released.step)


def inbreeding_text(expected: float, run: RunFacts) -> str:
    """The puppies' expected inbreeding beside the breed's mean, in half a line."""
    return _("%(expected)s of 100 (mean of all dogs in the run: %(mean)s)") % {
        "expected": hundredths(expected),
        "mean": hundredths(run.mean_inbreeding),
    }


def hands_on(value: DogValue) -> str:
    """What a dog hands on, against the breed's dogs of the latest birth years, and how well that is
    known.

    It is called better or worse when the difference is greater than its own standard error;
    where it is neither, nothing is said of how well it is known.
    """
    if value.value is None or value.reliability is None or value.error_variance is None:
        return _("not shown: the owner has not released the result")
    facts = value.facts
    ahead = value.value - facts.average
    if facts.trait.better == "lower":
        ahead = -ahead
    trait = facts.trait
    if not facts.is_ranked or abs(ahead) <= math.sqrt(value.error_variance):
        return _("too close to the breed's average dog to tell")
    said = _("a %(better)s %(joint)s than the breed's average dog") % {
        "better": trait.better_word if ahead > 0 else trait.worse_word,
        "joint": trait.joint,
    }
    return _("%(what)s; %(known)s") % {
        "what": said,
        "known": reliability_words(value.reliability),
    }


def better_rule() -> str:
    """By which rule a dog is said to hand on something better or worse."""
    return _(
        "What a dog hands on is compared with the breed's average dog of the latest five birth "
        "years. Better or worse is said where the difference is greater than its standard error."
    )


def heritability_rows(facts: TraitFacts) -> list[tuple[str, str]]:
    """The heritability with its standard error and where it is from, and how many were tested."""
    number = f"{facts.heritability:.2f}"
    if facts.is_borrowed:
        number = _("%(number)s, from published studies") % {"number": number}
    elif facts.heritability_se is not None:
        number = f"{number} ± {facts.heritability_se:.2f}"
    name = _("Heritability of the liability") if facts.grades else _("Heritability")
    rows = [(name, number)]
    observed = next((note for note in facts.notes if note["code"] == "observed"), None)
    if observed is not None and not facts.is_borrowed:
        rows.append(
            (
                _("Heritability of the grades taken as numbers"),
                f"{observed['heritability']:.2f} ± {observed['heritability_se']:.2f}",
            )
        )
    return [*rows, (_("Tested dogs in the run"), f"{facts.records:,}")]


def borrowed(facts: TraitFacts) -> list[str]:
    """That the heritability is borrowed, and why; nothing where it is the breed's own."""
    if not facts.is_borrowed:
        return []
    if not facts.is_ranked:
        return [
            not_inherited_words(facts.trait.name, facts.records),
            borrowed_share_words(facts.heritability),
        ]
    return [
        ngettext(
            "This breed has too few results (%(dogs)s dog), so how much comes from genes is taken "
            "from published studies.",
            "This breed has too few results (%(dogs)s dogs), so how much comes from genes is taken "
            "from published studies.",
            facts.records,
        )
        % {"dogs": f"{facts.records:,}"}
    ]


def reliability_of(sire: DogValue, dam: DogValue) -> float:
    """How well both parents are known together: the mean of their reliabilities."""
    return ((sire.reliability or 0.0) + (dam.reliability or 0.0)) / 2


def middle_puppy(facts: TraitFacts, forecast: Forecast) -> str:
    """The value that half of the puppies are expected above and half below."""
    return record_text(facts.trait, forecast.mean)
