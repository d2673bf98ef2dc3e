"""A breed's course in sentences: what its genes did, how fast it narrows, how much genes explain.

Numbers from ``registry.science.trend`` and ``diversity`` come in and plain translated sentences go
out. What a look ahead says, and a litter, is ``registry.wording.breeding``'s.
"""

from __future__ import annotations

import math
from decimal import Decimal

from django.utils.translation import gettext as _

from registry.science.diversity import EffectiveSize
from registry.science.missing_parents import UnknownParents
from registry.science.scale import Better
from registry.science.trend import Line
from registry.wording.standings import TraitWords

_TWO_SIDED = 1.96  # 95 of 100, as everywhere in the course

FEWEST_ADVISED = 50
"""An effective size of 50 is a rise of inbreeding by 1 of 100 a generation. The Food and
Agriculture Organization advises to stay below that rise in its guidelines on the conservation of
animal genetic resources; seen in a university's textbook that reports them (Textbook Animal
Breeding and Genetics, Wageningen, section 6.15), not in the guidelines themselves."""


def decimals_of(resolution: Decimal) -> int:
    """How many decimals a difference is written with: those of the trait's resolution."""
    exponent = resolution.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def mean_decimals_of(resolution: Decimal) -> int:
    """How many decimals a mean is written with: one more, where the resolution is a whole one."""
    is_decimal_place = resolution.normalize().as_tuple().digits == (1,)
    return decimals_of(resolution) + is_decimal_place


def course_sentences(
    line: Line | None,
    *,
    better: Better,
    words: TraitWords,
    resolution: Decimal,
    unit: str,
) -> list[str]:
    """What the breed's genes did from the first to the last birth year, and how sure that is."""
    if line is None:
        return [_("There are too few birth years to tell where the breed's genes go.")]
    years = {"first": line.first, "last": line.last}
    span = line.last - line.first
    change, low, high = (span * each for each in (line.per_year, line.low, line.high))
    if better == "lower":
        # From here on, above 0 is towards the better end.
        change, low, high = -change, -high, -low
    smallest = 10.0 ** -decimals_of(resolution) / 2
    finer = any(abs(each) < smallest for each in (change, low, high))
    decimals = decimals_of(resolution) + finer

    def written(value: float) -> str:
        return f"{abs(value):.{decimals}f}{unit}"

    if low <= 0 <= high:
        return [
            _("It is not clear that the breed's genes moved from %(first)d to %(last)d.") % years,
            _("It could be %(low)s %(worse)s to %(high)s %(better)s.")
            % {
                "low": written(low),
                "worse": words.worse,
                "high": written(high),
                "better": words.better,
            },
        ]
    end = words.better if change > 0 else words.worse
    least, most = sorted((low, high), key=abs)
    return [
        _(
            "Puppies born in %(last)d carry genes for a %(end)s %(joint)s than those born in "
            "%(first)d."
        )
        % {**years, "end": end, "joint": words.joint},
        _("The change is about %(change)s. It could be %(least)s to %(most)s.")
        % {"change": written(change), "least": written(least), "most": written(most)},
    ]


def size_sentences(size: EffectiveSize | None, *, first_year: int, last_year: int) -> list[str]:
    """How fast the breed loses variety, as a number of dogs, and how sure that is."""
    years = {"first": first_year, "last": last_year}
    if size is None:
        return [
            _("The pedigree is too short to tell how fast the breed loses variety."),
            _("It takes dogs whose grandparents are known."),
        ]
    if not math.isfinite(size.size):
        said = _("As far as the pedigree goes, no dog born from %(first)d to %(last)d is inbred.")
        return [said % years, _("So it cannot be told how fast the breed loses variety.")]
    low = round(1 / (2 * (size.rate + _TWO_SIDED * size.rate_error)))
    slowest = size.rate - _TWO_SIDED * size.rate_error
    sure = (
        _("It could be %(low)d to %(high)d dogs.") % {"low": low, "high": round(1 / (2 * slowest))}
        if slowest > 0
        else _("It could be %(low)d dogs or more.") % {"low": low}
    )
    return [
        _(
            "The breed loses variety as fast as one of about %(size)d dogs, each with the same "
            "chance to breed."
        )
        % {"size": round(size.size)},
        sure,
        _("Animal breeders are told to keep it at %(fewest)d or more.")
        % {"fewest": FEWEST_ADVISED},
    ]


def line_unknown_words(unknown: UnknownParents) -> str:
    """Why it is not told where the breed's genes go, nor what choosing would bring."""
    return _(
        "Where the breed's genes go cannot be told: of 100 dogs born from %(first)d to %(last)d, "
        "%(dogs)s have a parent that nobody wrote down."
    ) % _of_unknown(unknown)


def size_unknown_words(unknown: UnknownParents) -> str:
    """Why it is not told how fast the breed loses variety."""
    return _(
        "How fast the breed loses variety cannot be told: of 100 dogs born from %(first)d to "
        "%(last)d, %(dogs)s have a parent that nobody wrote down."
    ) % _of_unknown(unknown)


def _of_unknown(unknown: UnknownParents) -> dict[str, object]:
    return {
        "first": unknown.first_year,
        "last": unknown.last_year,
        # Rounded up, so that the number never says less than the limit.
        "dogs": math.ceil(100 * unknown.share),
    }


def heritability_sentence(heritability: float, error: float | None) -> str:
    """How much of the differences between dogs comes from genes, with its 95 % interval."""
    said = _("About %(parts)d of 100 parts of what sets dogs apart come from their genes.") % {
        "parts": round(100 * heritability)
    }
    if error is None:
        return said
    low = max(0, round(100 * (heritability - _TWO_SIDED * error)))
    high = min(100, round(100 * (heritability + _TWO_SIDED * error)))
    return said + " " + _("It could be %(low)d to %(high)d.") % {"low": low, "high": high}
