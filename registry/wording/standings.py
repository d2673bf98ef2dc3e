"""A standing in sentences: how many other tested dogs are better, how sure, who is compared.

The numbers come rounded from ``registry.science.standing``; here they become sentences of twenty
words or fewer that are complete without the picture. The word percentile is not used here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.science.standing import Span, Spoken, Standing, spoken
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


def standing_sentences(
    place: Standing, *, dog: str, words: TraitWords, second: Span | None = None
) -> list[str]:
    """What the standing of a measured value means, first sentence first; one sentence when too few
    dogs are compared. ``second`` is what a second exam could give, None where it is not known."""
    said = spoken(place, second)
    if said is None:
        return [too_few(place.n)]
    sentences = [_compared(said, dog, words)]
    if said.same >= 2 * said.precision or (said.is_exact and said.same):
        sentences.append(_are_the_same(said))
    if not words.better.startswith(_("better")):
        sentences.append(_("%(better)s is better.") % {"better": capitalised(words.better)})
    sentences.append(_second_exam(said, words.better))
    return sentences


def grade_sentences(
    place: Standing, *, dog: str, grade: str, is_best: bool, is_worst: bool
) -> list[str]:
    """What a grade means among the other dogs' grades, first sentence first."""
    said = spoken(place)
    if said is None:
        return [too_few(place.n)]
    better, same, worse = (_have(said, part) for part in range(3))
    names = {"dog": dog, "grade": grade}
    if is_best:
        pattern = _("%(same)s grade %(grade)s, the best, like %(dog)s. %(worse)s a worse grade.")
        names |= {"same": same, "worse": capitalised(worse)}
    elif is_worst:
        pattern = _("%(same)s grade %(grade)s, the worst, like %(dog)s. %(better)s a better grade.")
        names |= {"same": same, "better": capitalised(better)}
    else:
        pattern = _(
            "%(better)s a better grade than %(dog)s. %(same)s the same grade, %(grade)s. "
            "%(worse)s a worse grade."
        )
        names |= {"better": better, "same": capitalised(same), "worse": capitalised(worse)}
    return [f"{_among(said)} {pattern % names}"]


def short_standing(place: Standing, *, words: TraitWords) -> str:
    """The standing in half a line, for a list or a table."""
    said = spoken(place)
    if said is None:
        return too_few(place.n)
    return _("%(ahead)s of %(of)d %(better)s, %(behind)s of %(of)d %(worse)s") % {
        "ahead": capitalised(_amount(said, 0)),
        "of": said.of,
        "better": words.better,
        "behind": _amount(said, 2),
        "worse": words.worse,
    }


def short_grades(place: Standing) -> str:
    """The same of a grade: in grades, never in ends of a scale."""
    said = spoken(place)
    if said is None:
        return too_few(place.n)
    return _("%(better)s of %(of)d a better grade, %(same)s the same, %(worse)s a worse one") % {
        "better": capitalised(_amount(said, 0)),
        "of": said.of,
        "same": _amount(said, 1),
        "worse": _amount(said, 2),
    }


def too_few(n: int) -> str:
    """Why nothing is compared."""
    if not n:
        return _("No other tested dogs to compare with.")
    return ngettext(
        "Too few other tested dogs (%(n)d) to compare.",
        "Too few other tested dogs (%(n)d) to compare.",
        n,
    ) % {"n": n}


def compared_with(n: int, window: Window) -> str:
    """With whom a dog is compared, and over which months."""
    return ngettext(
        "Compared with %(n)s other tested dog, %(first)s to %(last)s",
        "Compared with %(n)s other tested dogs, %(first)s to %(last)s",
        n,
    ) % {
        "n": f"{n:,}",
        "first": dates.month(window.first_month),
        "last": dates.month(window.last_month),
    }


def measured_from(deviation: str, pairs: int, *, months: int, source: str = "") -> str:
    """Where the range of a second exam comes from: pairs of exams of the same dogs, or a
    publication."""
    if source:
        first = _("Range of a second exam: standard deviation within a dog %(sd)s (%(source)s).")
    else:
        first = ngettext(
            "Range of a second exam: standard deviation within a dog %(sd)s, from %(pairs)s repeat "
            "exam. It was at most %(months)d months after the exam before.",
            "Range of a second exam: standard deviation within a dog %(sd)s, from %(pairs)s repeat "
            "exams. Each was at most %(months)d months after the exam before.",
            pairs,
        )
    names = {"sd": deviation, "pairs": f"{pairs:,}", "months": months, "source": source}
    last = _("It holds about 95 of 100 second exams, with the chance of which dogs were tested.")
    return f"{first % names} {last}"


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


def too_few_counted(n: int) -> str:
    """Why a breed's counts are not drawn."""
    return ngettext(
        "Too few tested dogs (%(n)d) to compare.", "Too few tested dogs (%(n)d) to compare.", n
    ) % {"n": n}


def capitalised(text: str) -> str:
    """The text with its first letter large; the rest is left alone."""
    return text[:1].upper() + text[1:]


def _compared(said: Spoken, dog: str, words: TraitWords) -> str:
    pattern = _("%(ahead)s a %(better)s %(joint)s than %(dog)s. %(behind)s a %(worse)s one.")
    names = {
        "ahead": _have(said, 0),
        "behind": capitalised(_have(said, 2)),
        "better": words.better,
        "worse": words.worse,
        "joint": words.joint,
        "dog": dog,
    }
    return f"{_among(said)} {pattern % names}"


def _among(said: Spoken) -> str:
    """The beginning of a sentence: of how many dogs it speaks."""
    if said.is_exact:
        return _("Of the %(n)d other tested dogs of this breed,") % {"n": said.of}
    return _("Of 100 other tested dogs of this breed,")


def _are_the_same(said: Spoken) -> str:
    if said.is_exact:
        return ngettext("%(same)d is the same.", "%(same)d are the same.", said.same) % {
            "same": said.same
        }
    return capitalised(_("%(amount)s are the same.") % {"amount": _amount(said, 1)})


def _second_exam(said: Spoken, better: str) -> str:
    """Chance alone would say too narrow a range, so there is none without the measuring error."""
    if said.low is None or said.high is None:
        return _("How far a second exam of the same dog might differ is not known here.")
    return _(
        "A second exam of the same dog could give %(low)d to %(high)d of %(of)d %(better)s."
    ) % {"low": said.low, "high": said.high, "of": said.of, "better": better}


def _have(said: Spoken, part: int) -> str:
    """``about 24 have``, ``1 has``, ``none have``: the better (0), same (1) or worse (2) dogs."""
    amount = _amount(said, part)
    if said.is_exact and said.counts[part] == 1:
        return _("%(amount)s has") % {"amount": amount}
    return _("%(amount)s have") % {"amount": amount}


def _amount(said: Spoken, part: int) -> str:
    """``none``, ``all``, ``14`` of few dogs; else ``about 24``, ``fewer than 5``, ``more than
    95``."""
    number = (said.better, said.same, said.worse)[part]
    count, n = said.counts[part], sum(said.counts)
    if count in (0, n):
        return _("all") if count else _("none")
    if said.is_exact:
        return f"{number}"
    if number == 0:
        return _("fewer than %(count)d") % {"count": said.precision}
    if number == said.of:
        return _("more than %(count)d") % {"count": said.of - said.precision}
    return _("about %(count)d") % {"count": number}
