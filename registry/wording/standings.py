"""A standing in sentences: how many of 100 tested dogs are better, how sure, who is counted.

The numbers come rounded from ``registry.science.standing``; here they become sentences of twenty
words or fewer that are complete without the picture. The word percentile is not used here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.science.standing import InHundred, Standing, in_hundred
from registry.wording import dates


@dataclass(frozen=True, slots=True)
class TraitWords:
    """What the club calls a trait's ends and the joint: ``tighter``, ``looser``, ``hip``."""

    better: str
    worse: str
    joint: str


@dataclass(frozen=True, slots=True)
class Window:
    """Which examinations are counted: the first days of the first and of the last month."""

    first_month: dt.date
    last_month: dt.date


def standing_sentences(place: Standing, *, dog: str, words: TraitWords) -> list[str]:
    """What the standing means, first sentence first; one sentence when too few dogs are counted."""
    hundred = in_hundred(place)
    if hundred is None:
        return [too_few(place.n)]
    sentences = [_compared(hundred, dog, words)]
    if hundred.same >= 2 * hundred.precision:
        sentences.append(_("About %(same)d are the same.") % {"same": hundred.same})
    if not words.better.startswith(_("better")):
        sentences.append(_("%(better)s is better.") % {"better": capitalised(words.better)})
    if hundred.low < hundred.high:
        sentences.append(
            _("The number of %(better)s dogs could be %(low)d to %(high)d of 100.")
            % {"better": words.better, "low": hundred.low, "high": hundred.high}
        )
    return sentences


def short_standing(place: Standing, *, words: TraitWords) -> str:
    """The standing in half a line, for a list or a table."""
    hundred = in_hundred(place)
    if hundred is None:
        return too_few(place.n)
    return _("%(ahead)s of 100 %(better)s, %(behind)s of 100 %(worse)s") % {
        "ahead": capitalised(_amount(hundred.better, hundred.few_better, hundred.precision)),
        "better": words.better,
        "behind": _amount(hundred.worse, hundred.few_worse, hundred.precision),
        "worse": words.worse,
    }


def too_few(n: int) -> str:
    """Why nothing is compared."""
    return ngettext(
        "Too few tested dogs (%(n)d) to compare.", "Too few tested dogs (%(n)d) to compare.", n
    ) % {"n": n}


def counted(n: int, window: Window) -> str:
    """Who is counted, and over which months."""
    return ngettext(
        "%(n)s tested dog, %(first)s to %(last)s",
        "%(n)s tested dogs, %(first)s to %(last)s",
        n,
    ) % {
        "n": f"{n:,}",
        "first": dates.month(window.first_month),
        "last": dates.month(window.last_month),
    }


def capitalised(text: str) -> str:
    """The text with its first letter large; the rest is left alone."""
    return text[:1].upper() + text[1:]


def _compared(hundred: InHundred, dog: str, words: TraitWords) -> str:
    names = {
        "ahead": _amount(hundred.better, hundred.few_better, hundred.precision),
        "behind": capitalised(_amount(hundred.worse, hundred.few_worse, hundred.precision)),
        "better": words.better,
        "worse": words.worse,
        "joint": words.joint,
        "dog": dog,
    }
    return (
        _(
            "Of 100 tested dogs of this breed, %(ahead)s have a %(better)s %(joint)s than %(dog)s. "
            "%(behind)s have a %(worse)s one."
        )
        % names
    )


def _amount(count: int, is_few: bool, precision: int) -> str:
    """``about 24``, ``fewer than 5``, ``none``, ``all``."""
    if is_few:
        return _("fewer than %(count)d") % {"count": precision}
    if count == 0:
        return _("none")
    if count == 100:
        return _("all")
    return _("about %(count)d") % {"count": count}
