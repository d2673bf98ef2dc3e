"""A look ahead: what keeping the best would bring over generations, and the inbreeding it costs.

A course and a plan in; sentences, a figure and its table out. The sum itself is
``registry.science.selection``'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.charts import course as drawn
from registry.charts.figures import AxisWords
from registry.queries.course import (
    GENERATION_YEARS,
    Course,
    ParentsToday,
    tested_today,
)
from registry.queries.public import PublicTrait
from registry.science.selection import Generation, Plan, ahead
from registry.science.trend import Year
from registry.telling.breeding import trait_words
from registry.telling.course import (
    Plot,
    inbreeding_text,
)
from registry.telling.guidance import Note, notes_of
from registry.wording.breeding import ahead_cautions, ahead_sentences, of_100
from registry.wording.course import decimals_of

_MIDDLE_80 = NormalDist().inv_cdf(0.9)
FEWEST_TESTED, MOST_TESTED = 10, 100_000
MOST_GENERATIONS = 12
USUAL_DAMS, USUAL_SIRES, USUAL_TESTED, USUAL_GENERATIONS = 50, 20, 100, 1
"""Taken where the breed's own numbers are not there: our choice, no source."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: the best ``dams`` of 100 bitches and ``sires`` of 100 dogs are kept, of so
    many dogs tested in each of so many generations."""

    dams: int = USUAL_DAMS
    sires: int = USUAL_SIRES
    tested: int = USUAL_TESTED
    generations: int = USUAL_GENERATIONS

    @property
    def plan(self) -> Plan:
        """As many males as females are tested; of an odd number the female is one more."""
        males = self.tested // 2
        return Plan.best(
            males_tested=males,
            females_tested=self.tested - males,
            of_males=self.sires / 100,
            of_females=self.dams / 100,
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


def usual_question(course: Course, last: Year, parents: ParentsToday) -> Question:
    """What the form holds at first: the breed as it breeds today, from its latest generation."""
    tested = tested_today(course.trend, last.year)
    return Question(
        dams=_of_100(parents.dams, parents.females, USUAL_DAMS),
        sires=_of_100(parents.sires, parents.males, USUAL_SIRES),
        tested=min(max(tested, FEWEST_TESTED), MOST_TESTED),
    )


def today_words(last: Year, parents: ParentsToday, tested: int) -> str:
    """From which numbers of the breed the form's first answers come."""
    return _(
        "Dogs born from %(first)d to %(last)d have %(dams)s dams and %(sires)s sires. There are "
        "%(females)s bitches and %(males)s dogs among them, and %(tested)s were tested."
    ) % {
        "first": last.year - GENERATION_YEARS + 1,
        "last": last.year,
        "dams": f"{parents.dams:,}",
        "sires": f"{parents.sires:,}",
        "females": f"{parents.females:,}",
        "males": f"{parents.males:,}",
        "tested": f"{tested:,}",
    }


def generations_of(course: Course, last: Year, asked: Question) -> tuple[Generation, ...]:
    """Today's puppies, those born in the last year with a mean, and the generations to come."""
    if last.value is None:
        raise ValueError(f"{last.year} has no mean breeding value to begin with")
    return ahead(
        mean=course.facts.base + last.value.mean,
        variances=course.facts.variances,
        better=course.facts.trait.better,
        plan=asked.plan,
        generations=asked.generations,
        inbreeding=last.inbreeding,
    )


def ahead_told(
    course: Course, last: Year, asked: Question, *, ends: tuple[float, float]
) -> AheadTold:
    """Put the answer together; ``ends`` are the lowest and highest value of the trait's scale."""
    generations = generations_of(course, last, asked)
    trait, middle = course.facts.trait, course.facts.middle
    gain, *cost = ahead_sentences(generations, middle=middle, words=trait_words(trait))
    return AheadTold(
        gain=(gain, _mean_moves(course, generations)),
        cost=(*cost, _kept(asked.plan)),
        beyond=_beyond(course, generations, ends),
        plot=_plot(course, generations),
        notes=notes_of(trait),
        assumptions=(*ahead_cautions(), *_assumptions(course, last)),
    )


def _mean_moves(course: Course, generations: Sequence[Generation]) -> str:
    trait = course.facts.trait
    return _("The mean would go from %(now)s to %(then)s.") % {
        "now": _text(trait, generations[0].mean),
        "then": _text(trait, generations[-1].mean),
    }


def _kept(plan: Plan) -> str:
    dams = ngettext("%(count)s bitch", "%(count)s bitches", plan.dams_kept)
    sires = ngettext("%(count)s male", "%(count)s males", plan.sires_kept)
    return _("In each generation, only %(dams)s and %(sires)s would have puppies.") % {
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


def _assumptions(course: Course, last: Year) -> list[str]:
    facts = course.facts
    said = [
        _("Dogs are chosen by their own result alone, and mated by chance among the chosen."),
        _("As many males as females are tested. One generation ends before the next begins."),
        _("Each parent has the same chances. A popular sire makes the breed narrower than this."),
        _("Many genes count, each a little. About %(parts)d of 100 parts of what sets dogs apart "
          "come from genes.") % {"parts": round(100 * facts.heritability)},
        _("It begins with the puppies born in %(year)d.") % {"year": last.year},
        _("Harm to health by inbreeding is not in this sum."),
    ]  # fmt: skip
    if facts.variances_from == "prior":
        said.append(_("How much genes count is taken from published studies, not from this breed."))
    return said


def _of_100(parents: int, born: int, otherwise: int) -> int:
    return min(max(round(100 * parents / born), 1), 100) if born and parents else otherwise
