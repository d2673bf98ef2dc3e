"""The list of candidate mates in finished strings: how it is ordered, each candidate, how sure.

No candidate gets a number of its place: where differences are smaller than their own uncertainty,
the order says little, and the page says so.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.queries.mates import Mate, MatesFound
from registry.queries.public import PublicDog
from registry.science.grade_forecast import GradeForecast
from registry.telling.breeding import (
    borrowed,
    difference_text,
    hands_on,
    hundredths,
    middle_puppy,
    released_text,
    reliability_of,
)
from registry.telling.facts import Fact
from registry.wording.breeding import of_100, precision_of
from registry.wording.grades import best_grade_words, borrowed_share_words, not_inherited_words


@dataclass(frozen=True, slots=True)
class MateLine:
    """One candidate."""

    public_id: str
    name: str
    href: str
    born: str
    litter: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class MatesTold:
    """The list. ``close`` and ``withheld`` are empty where there is nothing to say."""

    lead: str
    close: str
    withheld: str
    inbreeding: str
    matching: int
    total: int
    rows: tuple[MateLine, ...]


def mates_told(dog: PublicDog, found: MatesFound) -> MatesTold:
    """Put the list together."""
    return MatesTold(
        lead=_lead(found),
        close=_close(found),
        withheld=_withheld(found),
        inbreeding=_mean_inbreeding(found),
        matching=found.matching,
        total=found.total,
        rows=tuple(_line(dog, mate, found) for mate in found.rows),
    )


def _close(found: MatesFound) -> str:
    if not found.close:
        return ""
    if found.close == found.matching - 1:
        return _("They are all too close to tell apart. Let health, temper and variety decide.")
    return ngettext(
        "%(count)s other can hardly be told from the first. There, let health, temper and "
        "variety decide.",
        "%(count)s others can hardly be told from the first. There, let health, temper and "
        "variety decide.",
        found.close,
    ) % {"count": f"{found.close:,}"}


def _withheld(found: MatesFound) -> str:
    if not found.withheld:
        return ""
    return ngettext(
        "%(count)s dog is not in the list, as its owner keeps the result private.",
        "%(count)s dogs are not in the list, as their owners keep the results private.",
        found.withheld,
    ) % {"count": f"{found.withheld:,}"}


def _lead(found: MatesFound) -> str:
    facts = found.facts
    trait = facts.trait
    if not facts.is_ranked:
        said = [
            not_inherited_words(trait.name, facts.records),
            _("So the list is not ranked by it: the least related mates come first."),
            borrowed_share_words(facts.heritability),
        ]
    else:
        said = [
            _("The list begins with the mates whose puppies are expected %(better)s.")
            % {"better": trait.better_word},
            *([] if facts.grades else borrowed(facts)),
        ]
    return " ".join(said)


def _mean_inbreeding(found: MatesFound) -> str:
    """What the puppies' inbreeding of each candidate compares with: said once for all of them."""
    return _("The mean inbreeding of all dogs in the run is %(mean)s of 100.") % {
        "mean": hundredths(found.run.mean_inbreeding)
    }


def _line(dog: PublicDog, mate: Mate, found: MatesFound) -> MateLine:
    trait = found.facts.trait
    facts = [
        Fact(_("Own result"), released_text(trait, mate.released)),
        Fact(
            _("Puppies' inbreeding"),
            _("%(expected)s of 100") % {"expected": hundredths(mate.kinship)},
        ),
    ]
    if found.facts.is_ranked:
        facts.insert(1, Fact(_("Hands on"), hands_on(mate.value)))
    if found.facts.is_ranked and not mate.is_first:
        facts.append(Fact(_("Beside the first"), _beside_the_first(mate, found)))
    return MateLine(
        public_id=mate.public_id,
        name=mate.name,
        href=f"/dogs/{dog.public_id}/mates/{mate.public_id}/?trait={trait.slug}",
        born=_("born %(year)d") % {"year": mate.born_on.year},
        litter=_litter(mate, found),
        facts=tuple(facts),
    )


def _litter(mate: Mate, found: MatesFound) -> str:
    trait = found.facts.trait
    if isinstance(mate.forecast, GradeForecast):
        return best_grade_words(mate.forecast, trait.grades)
    reliability = reliability_of(found.own, mate.value)
    share = mate.forecast.share_better_than(found.facts.middle, best=found.facts.best)
    return _(
        "Of 100 puppies, %(count)s %(better)s than the breed's middle dog. The middle puppy: "
        "%(middle)s."
    ) % {
        "count": of_100(share, precision_of(reliability)),
        "better": trait.better_word,
        "middle": middle_puppy(found.facts, mate.forecast),
    }


def _beside_the_first(mate: Mate, found: MatesFound) -> str:
    if mate.is_close:
        return _("too close to tell")
    trait = found.facts.trait
    if trait.grades:
        return _("%(worse)s puppies expected") % {"worse": trait.worse_word}
    return _("about %(difference)s %(worse)s") % {
        "difference": difference_text(trait, mate.behind),
        "worse": trait.worse_word,
    }
