"""The content of a breed's distribution page: heap of circles, numbers, by sex, who is counted."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.charts.svg import HeapLabels
from registry.charts.svg import heap as draw
from registry.models import Breed, Sex, Trait
from registry.queries.distributions import Distribution
from registry.queries.public import PublicTrait
from registry.science.distribution import Histogram
from registry.science.dots import heap
from registry.science.standing import FEWEST_TO_COMPARE
from registry.telling.drawings import drawing
from registry.telling.guidance import Note, axis_ends, better_end, notes_of
from registry.telling.meanings import circle_text, range_text
from registry.wording import dates
from registry.wording.fairness import none_on_record
from registry.wording.standings import Window, counted, too_few_counted

SEX_WORDS = {"F": gettext_lazy("Female"), "M": gettext_lazy("Male")}


@dataclass(frozen=True, slots=True)
class ValueRow:
    """A range of values with its dogs: all, female, male."""

    values: str
    all: str
    female: str
    male: str


@dataclass(frozen=True, slots=True)
class SummaryRow:
    """The middle dog and the middle half of one group."""

    group: str
    dogs: str
    middle: str
    half: str


@dataclass(frozen=True, slots=True)
class DistributionPage:
    """Everything the page says; ``svg`` is empty and ``too_few`` says why when few are counted."""

    breed: str
    trait: str
    lead: str
    better: str
    fairness: tuple[str, ...]
    too_few: str
    who: str
    window: str
    as_of: str
    svg: SafeString | str
    circle: str
    values: tuple[ValueRow, ...]
    summary: tuple[SummaryRow, ...]
    notes: tuple[Note, ...]


def moment_of(whole: Distribution) -> str:
    """When these counts became public; the day asked for where there were none yet."""
    if whole.state_at is None:
        return dates.day(whole.as_of)
    return dates.moment(timezone.localtime(whole.state_at))


def _too_few(whole: Distribution) -> str:
    if whole.first_at is not None:
        return none_on_record(dates.day(timezone.localtime(whole.first_at)))
    return too_few_counted(whole.histogram.n)


def plain_trait(trait: Trait) -> PublicTrait:
    """A stored trait as the public rows have it."""
    return PublicTrait(
        pk=trait.pk,
        slug=trait.slug,
        name=trait.name,
        unit=trait.unit,
        resolution=trait.resolution.normalize(),
        better=trait.better_steps,
        better_word=trait.better_word,
        worse_word=trait.worse_word,
        joint=trait.joint,
        is_per_side=trait.is_per_side,
        is_counted=trait.is_counted,
        grades=trait.grades if trait.is_graded else (),
        guidance=trait.guidance,
    )


def distribution_page(
    breed: Breed,
    stored: Trait,
    whole: Distribution,
    by_sex: dict[str, Histogram],
    fairness: tuple[str, ...] = (),
) -> DistributionPage:
    """Put the page together from the whole distribution and its parts by sex.

    ``fairness`` is what to know of the comparison today, empty for a past day.
    """
    trait = plain_trait(stored)
    n = whole.histogram.n
    is_enough = n >= FEWEST_TO_COMPARE
    drawn = heap(whole.histogram, None, trait.better) if is_enough else None
    lead = _lead(trait, whole.histogram) if is_enough else _too_few(whole)
    better, worse = axis_ends(trait, whole.histogram)
    labels = HeapLabels(
        title=f"{breed.name}, {trait.name}. {lead}",
        description=circle_text(drawn) if drawn else "",
        better_end=better,
        worse_end=worse,
        circle=circle_text(drawn) if drawn else "",
        value=trait.value_text,
    )
    return DistributionPage(
        breed=breed.name,
        trait=trait.name,
        lead=lead,
        better=_grades(trait) if trait.grades else better_end(trait),
        fairness=fairness,
        too_few="" if is_enough else _too_few(whole),
        who=counted(n, Window(whole.first_month, whole.last_month)),
        window=_("%(months)d months") % {"months": whole.window_months},
        as_of=moment_of(whole),
        svg=drawing(draw(drawn, labels=labels, ident="heap", better=trait.better)) if drawn else "",
        circle=labels.circle,
        values=tuple(
            ValueRow(
                range_text(trait, column.low_step, column.high_step),
                f"{column.dogs:,}",
                *(
                    f"{_between(by_sex[sex], column.low_step, column.high_step):,}"
                    for sex in Sex.values
                ),
            )
            for column in (drawn.columns if drawn else ())
        ),
        summary=tuple(
            summary_row(trait, group, counts)
            for group, counts in (
                (_("All"), whole.histogram),
                *((str(SEX_WORDS[sex]), by_sex[sex]) for sex in Sex.values),
            )
        )
        if is_enough
        else (),
        notes=notes_of(trait),
    )


def summary_row(trait: PublicTrait, group: str, counts: Histogram) -> SummaryRow:
    """The median and the quartiles in words; a group of fewer than 20 dogs is not summed up."""
    if counts.n < FEWEST_TO_COMPARE:
        return SummaryRow(group, f"{counts.n:,}", _("too few"), _("too few"))
    low, middle, high = (trait.value_text(round(counts.quantile(q))) for q in (0.25, 0.5, 0.75))
    half = low if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}
    return SummaryRow(group, f"{counts.n:,}", middle, half)


def _lead(trait: PublicTrait, counts: Histogram) -> str:
    """The middle half; of grades, of which most dogs may share one, how many have the best."""
    if trait.grades:
        return _("%(best)s of %(all)s tested dogs have the best grade, %(grade)s.") % {
            "best": f"{counts.at(0):,}",
            "all": f"{counts.n:,}",
            "grade": trait.grades[0],
        }
    low, high = (trait.value_text(round(counts.quantile(q))) for q in (0.25, 0.75))
    return _("Half of the tested dogs lie between %(low)s and %(high)s.") % {
        "low": low,
        "high": high,
    }


def _grades(trait: PublicTrait) -> str:
    return _("From best to worst: %(grades)s.") % {"grades": ", ".join(trait.grades)}


def _between(counts: Histogram, low: int, high: int) -> int:
    return counts.below(high + 1) - counts.below(low)
