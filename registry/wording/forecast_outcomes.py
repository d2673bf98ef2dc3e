"""How forecasts turned out, in sentences.

Numbers of ``registry.science.forecast_check`` come in, finished strings go out. Which checks there
are, and their table, is ``registry.telling.forecast_outcomes``'s.
"""

from __future__ import annotations

from collections.abc import Callable

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.science.forecast_check import SAID, Estimate
from registry.science.scale import Better
from registry.wording.standings import TraitWords

Amount = Callable[[float], str]


def too_few_words(puppies: int, litters: int) -> str:
    """That there is nothing to tell yet, and of how many; never of none."""
    of_puppies = ngettext("%(shown)s puppy", "%(shown)s puppies", puppies) % {
        "shown": f"{puppies:,}"
    }
    of_litters = ngettext("%(shown)s litter", "%(shown)s litters", litters) % {
        "shown": f"{litters:,}"
    }
    return _("Too few to tell yet: %(puppies)s with a forecast and a result, of %(litters)s.") % {
        "puppies": of_puppies,
        "litters": of_litters,
    }


def range_words(inside: Estimate, puppies: int, *, is_off: bool) -> list[str]:
    """How many puppies came out inside the range that was said, and whether that is as it should
    be."""
    said = [
        _("%(puppies)s puppies were forecast early and have been tested since.")
        % {"puppies": f"{puppies:,}"},
        _("Of 100, %(count)d came out inside their range. It should hold %(said)d.")
        % {"count": round(100 * inside.value), "said": round(100 * SAID)},
    ]
    if is_off and inside.value < SAID:
        said.append(_("So the ranges were too narrow."))
    elif is_off:
        said.append(_("So the ranges were wider than they need be."))
    return [*said, _old_forecasts()] if is_off else said


def lean_words(lean: Estimate, *, better: Better, words: TraitWords, amount: Amount) -> str:
    """Whether puppies came out better or worse than forecast, and by how much. A mean that chance
    alone may make, or that is too small to write, is none."""
    by = {"amount": amount(abs(lean.value)), "better": words.better, "worse": words.worse}
    if not lean.leaves_out(0) or by["amount"] == amount(0.0):
        return _("On the whole, forecasts were not clearly too hopeful or too gloomy.")
    if (lean.value < 0) == (better == "lower"):
        said = _(
            "Forecasts were too gloomy: on the whole, puppies came out %(better)s by %(amount)s."
        )
    else:
        said = _(
            "Forecasts were too hopeful: on the whole, puppies came out %(worse)s by %(amount)s."
        )
    return said % by


def slope_words(slope: Estimate | None) -> str:
    """Whether litters differed as much as was forecast; empty where no forecasts differ."""
    if slope is None:
        return ""
    if slope.low <= 0:
        if slope.leaves_out(1):
            return _("Forecasts did not tell better litters from worse ones.")
        return _("It can not be told yet if forecasts tell better litters from worse ones.")
    if not slope.leaves_out(1):
        return _("Forecasts told better litters from worse ones.")
    if slope.value < 1:
        return _("Forecasts told better litters from worse ones, but made too much of it.")
    return _("Forecasts told better litters from worse ones, but made too little of it.")


def pair_words(inside: Estimate | None, slope: Estimate | None) -> list[str]:
    """What a pair's reader must know of earlier forecasts; None for what was as it should be."""
    said = []
    if inside is not None:
        said.append(
            _(
                "So far, %(count)d of 100 of this breed's tested puppies came out inside such a "
                "range, not %(said)d."
            )
            % {"count": round(100 * inside.value), "said": round(100 * SAID)}
        )
        said.append(_old_forecasts())
    if slope is not None and slope.value < 1:
        said.append(_("So far, this breed's litters differed less than was forecast."))
    elif slope is not None:
        said.append(_("So far, this breed's litters differed more than was forecast."))
    return said


def _old_forecasts() -> str:
    """That today's range need not be off as those before were."""
    return _("Old forecasts, made from fewer results, count in this too.")


def compared_words() -> list[str]:
    """What is compared with what, for whoever wants to judge the numbers."""
    return [
        _("A forecast is kept as it stood before any puppy of the litter could be tested."),
        _("It is compared with each puppy's result as it was found at the exam."),
        _("Good and bad years for all dogs are part of that result."),
        _("All kept forecasts count, the oldest too."),
        _("Only tested puppies count. Those that were not tested may differ."),
        _(
            "Results that owners keep private count too. They come in or go in groups of five or "
            "more, so that none stands alone."
        ),
        _("Inside: puppies inside the range that should hold 80 of 100."),
        _("Lean: the mean of result less forecast. It should be 0."),
        _(
            "Slope: how much litters of one year differ, for each 1 that their forecasts differ. "
            "It should be 1."
        ),
        _("In brackets: where the true number lies, 95 times of 100."),
        _("Puppies of one litter are alike, so it is litters that make a number sure."),
    ]
