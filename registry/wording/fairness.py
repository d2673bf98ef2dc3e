"""What a fair reader should know of a comparison: clinics that differ, and newer dogs that do."""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.wording.standings import TraitWords


def clinics_differ(places: tuple[int, int], words: TraitWords) -> tuple[str, ...]:
    """That one and the same middle dog stands elsewhere at another clinic."""
    low, high = places
    return (
        _("Clinics differ here."),
        _(
            "Of 100 dogs, about %(low)d or %(high)d are %(better)s than the same middle dog,"
            " depending on the clinic."
        )
        % {"low": low, "high": high, "better": words.better},
        _("The comparison does not correct for that."),
    )


def newer_differ(place: int, words: TraitWords) -> tuple[str, ...]:
    """That the middle dog of the last three years stands at ``place`` of 100 of all years."""
    word = words.better if place < 50 else words.worse
    return (
        _("Newer dogs are %(word)s.") % {"word": word},
        _(
            "Of 100 dogs with released results, about %(place)d are %(better)s than the middle dog"
            " of the last three years."
        )
        % {"place": place, "better": words.better},
    )


def none_on_record(first_day: str) -> str:
    """Why a past day before the club's first result has no counts."""
    return _("On that day no result was in these counts yet. The first came on %(day)s.") % {
        "day": first_day
    }


def few_were_tested(of_100: int, first: int, last: int) -> tuple[str, ...]:
    """That most puppies of some birth years were never tested, and what may follow; 0 is none."""
    amount = _("about %(count)d") % {"count": of_100} if of_100 else _("none")
    return (
        _("Of 100 puppies born %(first)d to %(last)d, %(tested)s were tested.")
        % {"first": first, "last": last, "tested": amount},
        _("If owners kept back the worse ones, puppies turn out worse than forecast."),
    )
