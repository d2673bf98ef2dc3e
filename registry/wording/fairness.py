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
