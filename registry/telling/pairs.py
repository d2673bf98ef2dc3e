"""A pair's page, and up to four pairs side by side: litters, kinship, both parents, what to mind.

What a litter of one trait looks like is ``litters``'. Nothing here ranks: pairs keep the order in
which they were chosen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from registry.queries.breeding import DogValue, TraitFacts
from registry.queries.forecast_checks import Outcome
from registry.queries.mates import OLDEST_MONTHS, YOUNGEST_MONTHS, is_alive, months_before
from registry.queries.pairs import NoAnswer, PairFacts, PairTrait, Why
from registry.queries.public import PublicDog, ReleasedValue
from registry.science.distribution import Histogram
from registry.science.grade_forecast import GradeForecast
from registry.science.litter import Forecast
from registry.telling.breeding import (
    Reason,
    hands_on,
    inbreeding_text,
    record_text,
    released_text,
    why_words,
)
from registry.telling.facts import Fact
from registry.telling.forecast_outcomes import earlier_forecasts
from registry.telling.litters import LitterTold, litters_told
from registry.wording import dates
from registry.wording.breeding import inbreeding_sentences


@dataclass(frozen=True, slots=True)
class Parent:
    """One of the two, with the released results or the words for none."""

    role: str
    name: str
    href: str
    result: str
    is_tested: bool


@dataclass(frozen=True, slots=True)
class PairTold:
    """One pair's page."""

    warnings: tuple[Reason, ...]
    litters: tuple[LitterTold, ...]
    kinship: tuple[str, ...]
    parents: tuple[Parent, ...]


@dataclass(frozen=True, slots=True)
class PairColumn:
    """One of the pairs side by side; ``reason`` says why there is nothing to show of it."""

    name: str
    href: str
    reason: Reason | None
    lead: str
    caption: str
    svg: SafeString | str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class PairsTold:
    """Pairs side by side. ``close`` is empty where their differences can be told."""

    lead: str
    close: str
    pairs: tuple[PairColumn, ...]


Released = Mapping[int, Sequence[ReleasedValue]]


def pair_told(
    pair: PairFacts,
    *,
    first_trait: str,
    histograms: Mapping[int, Histogram],
    released: Released,
    outcomes: Mapping[int, Outcome],
    today: date,
) -> PairTold:
    """Put one pair's page together; the trait that was asked for comes first."""
    traits = sorted(pair.traits, key=lambda each: each.facts.trait.slug != first_trait)
    told = [
        (litters_told([pair], each.facts.trait.slug, _counts(histograms, each))[0], each)
        for each in traits
    ]
    return PairTold(
        warnings=tuple(warnings_of(pair, today)),
        litters=tuple(
            _beside_earlier(litter, outcomes.get(each.facts.trait.pk))
            for litter, each in told
            if litter is not None
        ),
        kinship=tuple(inbreeding_sentences(pair.kinship, breed_mean=pair.run.mean_inbreeding)),
        parents=(
            _parent(_("Sire"), pair.sire, released),
            _parent(_("Dam"), pair.dam, released),
        ),
    )


def _beside_earlier(litter: LitterTold, outcome: Outcome | None) -> LitterTold:
    """The litter with a word on forecasts that did not turn out as they should."""
    return replace(litter, sentences=(*litter.sentences, *earlier_forecasts(outcome)))


def pairs_told(
    dog: PublicDog,
    answers: Sequence[tuple[PublicDog, PairFacts | NoAnswer]],
    *,
    trait: str,
    histograms: Mapping[int, Histogram],
    released: Released,
    today: date,
) -> PairsTold:
    """Put pairs side by side, for one trait, in the order given."""
    pairs = [facts for _mate, facts in answers if isinstance(facts, PairFacts)]
    of = [each for pair in pairs for each in pair.traits if each.facts.trait.slug == trait]
    counts = _counts(histograms, of[0]) if of else Histogram.empty()
    told = iter(litters_told(pairs, trait, counts))
    columns = []
    for mate, facts in answers:
        if isinstance(facts, PairFacts):
            columns.append(_column(dog, mate, facts, next(told), released, today))
        else:
            columns.append(_empty_column(mate, why_words(facts)))
    name = of[0].facts.trait.name if of else ""
    return PairsTold(
        lead=_("All pictures have the same scale: %(trait)s.") % {"trait": name} if name else "",
        close=_close(
            [
                (each.sire.name, own.sire, own.forecast.mean)
                if each.sire.pk != dog.pk
                else (each.dam.name, own.dam, own.forecast.mean)
                for each in pairs
                for own in each.traits
                if own.facts.trait.slug == trait
                and own.forecast is not None
                and own.facts.is_ranked
            ]
        ),
        pairs=tuple(columns),
    )


def warnings_of(pair: PairFacts, today: date) -> list[Reason]:
    """What speaks against a pair, or must be known of it, before any forecast."""
    sire, dam = pair.sire, pair.dam
    names = {"sire": sire.name, "dam": dam.name}
    said = []
    if pair.relation == "parent":
        said.append(_close_kin(_("%(sire)s and %(dam)s are parent and offspring.") % names))
    if pair.relation == "full-siblings":
        said.append(_close_kin(_("%(sire)s and %(dam)s have the same parents.") % names))
    if pair.relation == "half-siblings":
        said.append(_close_kin(_("%(sire)s and %(dam)s share a parent.") % names))
    if sire.died_on is not None:
        said.append(
            Reason(
                _("The sire is no longer alive"),
                _("%(sire)s died on %(day)s. A litter needs stored semen.")
                % {"sire": sire.name, "day": dates.day(sire.died_on)},
            )
        )
    for each in (sire, dam):
        said += _age_warnings(each, today)
    if not pair.traits:
        said.append(why_words(NoAnswer(Why.NO_VALUES)))
    return said


def _close_kin(said: str) -> Reason:
    return Reason(
        _("Close relatives"),
        _("%(said)s Such puppies carry a higher risk of inherited disease. Ask the club first.")
        % {"said": said},
    )


def _age_warnings(dog: PublicDog, today: date) -> list[Reason]:
    title = _("Mind the age")
    if dog.born_on > months_before(today, YOUNGEST_MONTHS):
        text = _("%(dog)s is younger than 18 months. That is young for breeding.")
    elif dog.died_on is None and not is_alive(dog.born_on, None, today):
        text = _("%(dog)s was born more than 15 years ago. It may no longer be alive.")
    elif dog.died_on is None and dog.born_on < months_before(today, OLDEST_MONTHS[dog.sex]):
        text = _("%(dog)s may be too old for breeding. The club's rules decide.")
    else:
        return []
    return [Reason(title, text % {"dog": dog.name})]


def _parent(role: str, dog: PublicDog, released: Released) -> Parent:
    values = released.get(dog.pk, ())
    return Parent(
        role=role,
        name=dog.name,
        href=f"/dogs/{dog.public_id}/",
        result=", ".join(
            f"{value.trait.name} {value.trait.value_text(value.step)}" for value in values
        )
        or _("not tested or not released"),
        is_tested=bool(values),
    )


def _counts(histograms: Mapping[int, Histogram], each: PairTrait) -> Histogram:
    return histograms.get(each.facts.trait.pk) or Histogram.empty()


def _column(
    dog: PublicDog,
    mate: PublicDog,
    pair: PairFacts,
    litter: LitterTold | None,
    released: Released,
    today: date,
) -> PairColumn:
    if litter is None:
        return _empty_column(mate, Reason(_("Nothing to show"), _("Choose one of the traits.")))
    of = next(each for each in pair.traits if each.facts.trait.slug == litter.slug)
    own = of.sire if mate.pk == pair.sire.pk else of.dam
    value = next(
        (each for each in released.get(mate.pk, ()) if each.trait.pk == of.facts.trait.pk), None
    )
    facts = [
        Fact(_("Puppies' inbreeding"), inbreeding_text(pair.kinship, pair.run)),
        Fact(_("Own result"), released_text(of.facts.trait, value)),
        *(Fact(each.title, each.text) for each in warnings_of(pair, today)),
    ]
    if of.forecast is not None:
        hands = [Fact(_("Hands on"), hands_on(own))] if of.facts.is_ranked else []
        facts = [*_of_puppies(of.facts, of.forecast), facts[0], *hands, *facts[1:]]
    return PairColumn(
        name=mate.name,
        href=f"/dogs/{dog.public_id}/mates/{mate.public_id}/?trait={litter.slug}",
        reason=None,
        lead=litter.lead,
        caption=litter.caption,
        svg=litter.svg,
        facts=tuple(facts),
    )


def _of_puppies(facts: TraitFacts, forecast: Forecast | GradeForecast) -> list[Fact]:
    trait = facts.trait
    if isinstance(forecast, GradeForecast):
        return [
            Fact(_("Grade %(grade)s, of 100 puppies") % {"grade": grade}, str(count))
            for grade, count in zip(trait.grades, forecast.puppies(100), strict=True)
        ]
    low, high = (record_text(trait, end) for end in forecast.interval())
    return [
        Fact(_("Middle puppy"), record_text(trait, forecast.mean)),
        Fact(_("80 of 100 puppies"), _("%(low)s to %(high)s") % {"low": low, "high": high}),
    ]


def _empty_column(mate: PublicDog, reason: Reason) -> PairColumn:
    return PairColumn(mate.name, "", reason, "", "", "", ())


def _close(shown: Sequence[tuple[str, DogValue, float]]) -> str:
    """Whether litters, each the mate's name and value and the expected mean, can be told apart.

    Each is compared with the best by the difference's own standard error, ½ √(PEV + PEV): what the
    pairs have in common, one parent, adds nothing to it.
    """
    if len(shown) < 2:
        return ""
    sign = 1 if shown[0][1].facts.trait.better == "lower" else -1
    best = min(shown, key=lambda each: sign * each[2])
    close = [name for name, value, mean in shown if _is_close(value, mean, best)]
    if len(close) == len(shown):
        return _(
            "These litters are too close to tell apart. Let health, temper and variety decide."
        )
    if len(close) > 1:
        return _("Too close to tell apart: the litters with %(mates)s.") % {
            "mates": _(" and ").join([", ".join(close[:-1]), close[-1]])
        }
    return ""


def _is_close(value: DogValue, mean: float, best: tuple[str, DogValue, float]) -> bool:
    error = (value.error_variance or 0.0) + (best[1].error_variance or 0.0)
    return abs(mean - best[2]) <= math.sqrt(error) / 2
