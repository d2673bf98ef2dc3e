"""A look ahead: what choosing parents would bring over generations, and the inbreeding it costs.

A course and a plan in; sentences, a figure and its table out. The sum itself is
``registry.science.selection``'s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.charts import course as drawn
from registry.charts.figures import AxisWords
from registry.queries.course import (
    GENERATION_YEARS,
    Course,
    ParentsToday,
    parents_ahead,
    parents_today,
)
from registry.queries.public import PublicTrait
from registry.science.selection import Generation, Plan, ahead, response
from registry.science.trend import Year
from registry.telling.breeding import trait_words
from registry.telling.course import (
    Plot,
    inbreeding_text,
)
from registry.telling.guidance import Note, notes_of
from registry.wording.breeding import ahead_cautions, ahead_sentences, of_100
from registry.wording.course import decimals_of, size_unknown_words

_MIDDLE_80 = NormalDist().inv_cdf(0.9)
FEWEST_DOGS, MOST_DOGS = 10, 100_000
MOST_GENERATIONS = 12

Chosen = Literal["today", "chance", "best"]


@dataclass(frozen=True, slots=True)
class Habits:
    """How the breed chooses its parents today, from its latest generation.

    ``accuracy`` is how well the choice agrees with dogs' results (see ``science.selection.Plan``),
    None where it cannot be told; ``unevenness`` how many times as fast inbreeding rises as it
    would with the same chances for each parent.
    """

    parents: ParentsToday
    accuracy: float | None
    unevenness: float

    @property
    def usual(self) -> Question:
        """What the form holds at first: the breed as it breeds today."""
        parents = self.parents
        dogs = min(max(parents.females + parents.males, FEWEST_DOGS), MOST_DOGS)
        return Question(
            chosen="chance" if self.accuracy is None else "today",
            dams=min(max(parents.dams, 1), dogs - dogs // 2),
            sires=min(max(parents.sires, 1), dogs // 2),
            dogs=dogs,
        )

    def plan(self, asked: Question) -> Plan:
        """The plan that is asked for, in a breed of these habits."""
        accuracy = {"today": self.accuracy or 0.0, "chance": 0.0, "best": 1.0}[asked.chosen]
        return replace(asked.plan, accuracy=accuracy, unevenness=self.unevenness)


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: so many bitches and males are kept of so many dogs born in each generation,
    and by what they are ``chosen``."""

    chosen: Chosen
    dams: int
    sires: int
    dogs: int
    generations: int = 1

    @property
    def plan(self) -> Plan:
        """As many males as females are born; of an odd number the female is one more."""
        males = self.dogs // 2
        return Plan(
            males_tested=males,
            sires_kept=self.sires,
            females_tested=self.dogs - males,
            dams_kept=self.dams,
        )


@dataclass(frozen=True, slots=True)
class AheadTold:
    """The answer: the gain and, as loud, its cost; ``beyond`` warns where the scale ends."""

    gain: tuple[str, ...]
    cost: tuple[str, ...]
    beyond: str
    plot: Plot
    notes: tuple[Note, ...]
    assumptions: tuple[str, ...]


def habits_of(course: Course, last: Year) -> Habits:
    """How the breed has chosen the parents of its latest generation."""
    parents = parents_today(course.run.breed_pk, last.year)
    plan = Habits(parents, None, 1.0).usual.plan
    size = course.size
    unevenness = max(size.size.rate / plan.rate_of_inbreeding, 1.0) if size else 1.0
    return Habits(parents, _accuracy(course, last, plan), unevenness)


def _accuracy(course: Course, last: Year, plan: Plan) -> float | None:
    """How well today's choice agrees with results. None where the breed's course is not clear, or
    goes the other way than the parents of today do: then a page would contradict the next."""
    line = course.trend.line
    if line is None or line.low <= 0 <= line.high:
        return None
    ahead_by = parents_ahead(course, last.year)
    if ahead_by is None or ahead_by * line.per_year <= 0:
        return None
    facts = course.facts
    sd = math.sqrt(facts.variances.total)
    most = response(intensity=plan.intensity, heritability=facts.heritability, sd=sd)
    towards = -ahead_by if facts.trait.better == "lower" else ahead_by
    return min(max(towards / most, -1.0), 1.0) if most else None


def today_words(last: Year, parents: ParentsToday) -> str:
    """From which numbers of the breed the form's first answers come."""
    return _(
        "Dogs born from %(first)d to %(last)d have %(dams)s dams and %(sires)s sires. There are "
        "%(females)s bitches and %(males)s males among them."
    ) % {
        "first": last.year - GENERATION_YEARS + 1,
        "last": last.year,
        "dams": f"{parents.dams:,}",
        "sires": f"{parents.sires:,}",
        "females": f"{parents.females:,}",
        "males": f"{parents.males:,}",
    }


def generations_of(
    course: Course, last: Year, plan: Plan, generations: int
) -> tuple[Generation, ...]:
    """Today's puppies, those born in the last year with a mean, and the generations to come."""
    if last.value is None:
        raise ValueError(f"{last.year} has no mean breeding value to begin with")
    return ahead(
        mean=course.facts.base + last.value.mean,
        variances=course.facts.variances,
        better=course.facts.trait.better,
        plan=plan,
        generations=generations,
        inbreeding=last.inbreeding,
    )


def ahead_told(
    course: Course, last: Year, habits: Habits, asked: Question, *, ends: tuple[float, float]
) -> AheadTold:
    """Put the answer together; ``ends`` are the lowest and highest value of the trait's scale."""
    plan = habits.plan(asked)
    generations = generations_of(course, last, plan, asked.generations)
    trait, middle = course.facts.trait, course.facts.middle
    *gain, cost = ahead_sentences(generations, middle=middle, words=trait_words(trait))
    return AheadTold(
        gain=(_mean_moves(course, generations, asked.chosen), *gain),
        cost=(cost, _kept(plan)),
        beyond=_beyond(course, generations, ends),
        plot=_plot(course, generations),
        notes=notes_of(trait),
        assumptions=(*ahead_cautions(), *_assumptions(course, last, habits, asked)),
    )


def _mean_moves(course: Course, generations: Sequence[Generation], chosen: Chosen) -> str:
    trait = course.facts.trait
    means = {
        "now": _text(trait, generations[0].mean),
        "then": _text(trait, generations[-1].mean),
        "chosen": {
            "today": _("If parents are chosen as today"),
            "chance": _("If chance chooses the parents"),
            "best": _("If the best results choose the parents"),
        }[chosen],
    }
    if means["now"] == means["then"]:
        return _("%(chosen)s, the mean stays at %(now)s.") % means
    return _("%(chosen)s, the mean goes from %(now)s to %(then)s.") % means


def _kept(plan: Plan) -> str:
    dams = ngettext("%(count)s bitch", "%(count)s bitches", plan.dams_kept)
    sires = ngettext("%(count)s male", "%(count)s males", plan.sires_kept)
    return _("In each generation, %(dams)s and %(sires)s would have puppies.") % {
        "dams": dams % {"count": f"{plan.dams_kept:,}"},
        "sires": sires % {"count": f"{plan.sires_kept:,}"},
    }


def _beyond(course: Course, generations: Sequence[Generation], ends: tuple[float, float]) -> str:
    """A warning from where on the sum leaves the trait's scale, else nothing."""
    low, high = ends
    out = next((each for each in generations if not low <= each.mean <= high), None)
    if out is None:
        return ""
    trait = course.facts.trait
    return _(
        "The scale of this trait ends at %(end)s. From generation %(number)d on, the sum goes "
        "beyond it and means nothing."
    ) % {"end": _text(trait, low if out.mean < low else high), "number": out.number}


def _plot(course: Course, generations: Sequence[Generation]) -> Plot:
    trait, middle = course.facts.trait, course.facts.middle
    spreads = [(each, _MIDDLE_80 * each.sd) for each in generations]
    rows = tuple(
        (
            _name(each),
            _text(trait, each.mean),
            _("%(low)s to %(high)s")
            % {
                "low": _text(trait, each.mean - half),
                "high": _text(trait, each.mean + half),
            },
            of_100(each.share_better_than(middle), 5),
            inbreeding_text(each.inbreeding),
        )
        for each, half in spreads
    )
    figure = drawn.ahead(
        [
            drawn.AheadPoint(
                label=_name(each),
                mean=float(_digits(trait, each.mean)),
                low=float(_digits(trait, each.mean - half)),
                high=float(_digits(trait, each.mean + half)),
                inbreeding_of_100=round(100 * each.inbreeding, 2),
            )
            for each, half in spreads
        ],
        axes=AxisWords(x=_("Generation"), y=trait.name),
        words=drawn.AheadWords(
            mean=_("Mean"),
            low=_("10 of 100 lie below"),
            high=_("10 of 100 lie above"),
            today=_("The breed's middle dog today"),
            inbreeding=_("Inbreeding, of 100"),
        ),
        middle=float(_digits(trait, middle)),
    )
    return Plot(
        ident="ahead",
        title=_("Generation by generation"),
        figure=figure,
        words=(
            _("The solid line is the mean. 80 of 100 dogs would lie between the dashed lines."),
            _("The columns below show the inbreeding. It is the least that this plan costs."),
        ),
        heads=(
            _("Generation"), _("Mean"), _("80 of 100 between"),
            _("Of 100, %(better)s than today's middle dog") % {"better": trait.better_word},
            _("Inbreeding, of 100"),
        ),
        rows=rows,
    )  # fmt: skip


def _name(generation: Generation) -> str:
    return str(generation.number) if generation.number else _("today")


def _text(trait: PublicTrait, value: float) -> str:
    """A mean with the decimals of a single value: a look ahead knows no more."""
    return f"{value:.{decimals_of(trait.resolution)}f}{trait.unit}"


def _digits(trait: PublicTrait, value: float) -> str:
    """A mean's text without its unit: what is drawn has the digits that the table shows."""
    return _text(trait, value).removesuffix(trait.unit)


def _assumptions(course: Course, last: Year, habits: Habits, asked: Question) -> list[str]:
    facts = course.facts
    said = [
        *_how_chosen(habits, asked.chosen),
        _("As many males as females are born. One generation ends before the next begins."),
        *_how_even(course, habits),
        _("Many genes count, each a little. About %(parts)d of 100 parts of what sets dogs apart "
          "come from genes.") % {"parts": round(100 * facts.heritability)},
        _("It begins with the puppies born in %(year)d.") % {"year": last.year},
        _("Harm to health by inbreeding is not in this sum."),
    ]  # fmt: skip
    if facts.variances_from == "prior":
        said.append(_("How much genes count is taken from published studies, not from this breed."))
    return said


def _how_chosen(habits: Habits, chosen: Chosen) -> list[str]:
    if chosen == "best":
        return [
            _("All these dogs are tested, and the owners of the best agree to breed from them."),
            _("Dogs are chosen by their own result alone, and mated by chance among the chosen."),
        ]
    said = [
        _("Whether a dog has puppies does not depend on this trait."),
        _("How parents are chosen today cannot be told from the results."),
    ]
    if habits.accuracy is None:
        return said
    if chosen == "chance":
        return said[:1]
    share = {"parts": round(100 * abs(habits.accuracy))}
    return [
        _("Today's choice is that of the parents of the latest generation. Their breeding values "
          "are held against those of dogs born in the same years."),
        _("It moves the breed %(parts)d of 100 parts as far as the best results would.") % share
        if habits.accuracy > 0
        else _("It moves the breed towards the worse end, %(parts)d of 100 parts as far as the "
               "best results would the other way.") % share,
    ]  # fmt: skip


def _how_even(course: Course, habits: Habits) -> list[str]:
    if habits.unevenness == 1:
        unknown = course.unknown
        return [
            *([] if unknown is None or unknown.tells_size else [size_unknown_words(unknown)]),
            _(
                "Each parent has the same chances. A popular sire makes the breed narrower than "
                "this."
            ),
        ]
    return [
        _("Some parents have far more puppies than others, as they do today. So inbreeding rises "
          "%(times)s times as fast as with the same chances for each.")
        % {"times": f"{habits.unevenness:.1f}"}
    ]  # fmt: skip
