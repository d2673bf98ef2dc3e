"""Breeding values, forecasts and selection ahead in sentences.

Numbers from ``registry.science.litter`` and ``selection`` come in and plain translated sentences go
out, complete without a picture. Which words a trait has for its ends is the club's: they come in as
``TraitWords``. A value is put into words by the caller's ``value``, which knows the trait's unit
and resolution. The breed's course is not here (``course``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.science.litter import Circles, Forecast
from registry.science.selection import Generation
from registry.wording.standings import TraitWords

Value = Callable[[float], str]

# Where one word gives way to the next: our choice, no source.
WELL_KNOWN = 0.6
FAIRLY_KNOWN = 0.35
LITTLE_KNOWN = 0.15

_ABOUT_THE_SAME = 0.005  # of inbreeding: half a per cent; our choice, no source


# --- how much is known ---


def reliability_words(reliability: float) -> str:
    """How well a dog's breeding value is known, in a few words: ``fairly well known``."""
    if reliability >= WELL_KNOWN:
        return _("well known")
    if reliability >= FAIRLY_KNOWN:
        return _("fairly well known")
    if reliability >= LITTLE_KNOWN:
        return _("little known")
    return _("hardly known")


def precision_of(reliability: float) -> int:
    """To how many of 100 a forecast is rounded: 1, 5 or 10, the less is known the coarser."""
    if reliability >= WELL_KNOWN:
        return 1
    return 5 if reliability >= FAIRLY_KNOWN else 10


# --- a pair's litter ---


def forecast_sentences(
    forecast: Forecast,
    *,
    middle: float,
    best: float | None,
    reliability: float,
    words: TraitWords,
    value: Value,
) -> list[str]:
    """What a pair's puppies may be, first sentence first.

    ``reliability`` is the mean of both parents', ``middle`` the breed's middle record, ``best`` the
    best value of the scale.
    """
    if best is not None and middle == best:
        first = _(
            "The breed's middle dog today has the best value there is. No puppy can be %(better)s."
        ) % {"better": words.better}
    else:
        share = forecast.share_better_than(middle)
        first = _(
            "Of 100 puppies from this pair, %(count)s are expected %(better)s than the breed's "
            "middle dog today."
        ) % {"count": of_100(share, precision_of(reliability)), "better": words.better}
    low, high = (value(end) for end in forecast.interval())
    return [
        first,
        _("About 80 of 100 are expected between %(low)s and %(high)s.")
        % {"low": low, "high": high},
        parents_known(reliability),
    ]


def litter_mean_sentence(forecast: Forecast, *, value: Value) -> str:
    """Where the mean of the whole litter may lie."""
    low, high = (value(end) for end in forecast.mean_interval())
    return _(
        "The mean of such a litter is expected between %(low)s and %(high)s, 80 times of 100."
    ) % {"low": low, "high": high}


def littermates_sentence(forecast: Forecast, *, value: Value) -> str:
    """How unlike littermates are, which no choice of mates takes away."""
    return _(
        "Littermates differ. About 32 of 100 puppies lie more than %(sd)s above or below the mean "
        "of their own litter."
    ) % {"sd": value(forecast.sd_between_littermates)}


def moved_onto_the_end(circles: Circles, *, lowest: str, highest: str) -> list[str]:
    """Which circles were drawn at an end of the scale because the forecast goes on beyond it."""
    return [
        ngettext(
            "%(count)d of the 50 circles stands at the end of the scale, %(end)s. The forecast "
            "itself goes on beyond it.",
            "%(count)d of the 50 circles stand at the end of the scale, %(end)s. The forecast "
            "itself goes on beyond it.",
            count,
        )
        % {"count": count, "end": end}
        for count, end in ((circles.at_lowest, lowest), (circles.at_highest, highest))
        if count
    ]


def inbreeding_sentences(expected: float, *, breed_mean: float | None) -> list[str]:
    """The puppies' expected inbreeding, what it compares with, and against the breed's mean."""
    said = [
        _("The puppies' expected inbreeding is %(expected)s of 100.")
        % {"expected": _per_cent(expected)}
    ]
    if (like := _like(expected)) is not None:
        said.append(like)
    if breed_mean is not None:
        said.append(_against(expected, breed_mean))
    return said


def forecast_cautions() -> list[str]:
    """What a forecast does not say. They stand on every page that shows one, never folded away."""
    return [
        _("This is a forecast and not a promise. Any one puppy can be better or worse."),
        _("Choose for the whole dog. Its mind, heart, eyes and all the rest count too."),
        _("Keep the breed varied. Do not use the same few dogs again and again."),
        _("How a puppy grows up counts too: its food, its weight and how it plays."),
        _("The forecast is made from tested dogs. Dogs that were not tested may differ."),
        _("Ask a vet. Follow the law and the club's rules."),
    ]


# --- ahead ---


def ahead_sentences(
    generations: Sequence[Generation], *, middle: float, words: TraitWords
) -> list[str]:
    """What a choice of parents would bring after the last of the generations, and what it costs."""
    now, last = generations[0], generations[-1]
    then, today = (of_100(each.share_better_than(middle), 5) for each in (last, now))
    return [
        ngettext(
            "After %(count)d generation, %(share)s of 100 dogs would be %(better)s than the "
            "breed's middle dog today.",
            "After %(count)d generations, %(share)s of 100 dogs would be %(better)s than the "
            "breed's middle dog today.",
            last.number,
        )
        % {"count": last.number, "share": then, "better": words.better},
        _("Of today's youngest puppies it is %(share)s.") % {"share": today},
        _(
            "Inbreeding would go from %(now)s of 100 among the youngest puppies to %(then)s, or "
            "higher."
        )
        % {"now": _per_cent(now.inbreeding), "then": _per_cent(last.inbreeding)},
    ]


def ahead_cautions() -> list[str]:
    """What a look ahead takes for granted."""
    return [
        _("This is a sum on paper and not a promise. No breed follows it to the letter."),
        _("It is as if only this one trait counted. No club should breed for one trait alone."),
        _("It takes for granted that food, care and testing stay as they are today."),
        _("Fewer parents bring faster change now and a narrower breed for good."),
    ]


# --- numbers in words ---


def of_100(share: float, precision: int) -> str:
    """``about 63``, ``fewer than 5``, ``more than 95``, ``none``, ``all``; of 100 dogs."""
    if share in {0, 1}:
        return _("all") if share else _("none")
    count = precision * round(100 * share / precision)
    if count < precision:
        return _("fewer than %(count)d") % {"count": precision}
    if count > 100 - precision:
        return _("more than %(count)d") % {"count": 100 - precision}
    return _("about %(count)d") % {"count": count}


def parents_known(reliability: float) -> str:
    """How well it is known what a pair hands on."""
    return _("What these parents hand on is %(known)s.") % {"known": reliability_words(reliability)}


def _per_cent(share: float) -> str:
    """``6.3``; whole numbers need no decimal."""
    text = f"{100 * share:.1f}"
    return text.removesuffix(".0")


def _like(expected: float) -> str | None:
    """Name a close mating that gives as much or less. Wright (1922), Am Nat 56:330-338."""
    if expected >= 0.25:
        return _("That is as much as from a brother and a sister, or more.")
    if expected >= 0.125:
        return _("That is as much as from a half brother and a half sister, or more.")
    if expected >= 0.0625:
        return _("That is as much as from two cousins, or more.")
    return None


def _against(expected: float, breed_mean: float) -> str:
    mean = {"mean": _per_cent(breed_mean)}
    if abs(expected - breed_mean) < _ABOUT_THE_SAME:
        return _("That is about the mean of all dogs in the run, %(mean)s of 100.") % mean
    if expected < breed_mean:
        return _("That is below the mean of all dogs in the run, %(mean)s of 100.") % mean
    return _("That is above the mean of all dogs in the run, %(mean)s of 100.") % mean
