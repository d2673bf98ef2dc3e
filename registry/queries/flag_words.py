"""What a flag says, in a sentence: the one place where a check's code becomes words for a
person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.models import Flag, Side
from registry.science.microchip import in_groups
from registry.science.numbers import format_number

# Short names, for filters and lists; in the order in which a filter offers them.
FLAG_NAMES = {
    "too_young": gettext_lazy("too young"),
    "outside_plausible": gettext_lazy("implausible value"),
    "beyond_four_sd": gettext_lazy("far from the breed"),
    "index_mismatch": gettext_lazy("value does not fit the lengths"),
    "sides_differ": gettext_lazy("sides differ"),
    "sides_swapped": gettext_lazy("sides swapped"),
    "side_missing": gettext_lazy("one side only"),
    "chip_not_read": gettext_lazy("chip not read"),
    "chip_conflict": gettext_lazy("chip conflict"),
    "date_conflict": gettext_lazy("date conflict"),
    "age_unknown": gettext_lazy("age unknown"),
    "possible_duplicate": gettext_lazy("possible duplicate"),
    "same_evidence": gettext_lazy("same file elsewhere"),
    "dog_unconfirmed": gettext_lazy("new dog"),
}


@dataclass(frozen=True, slots=True)
class FlagWords:
    """A flag as a page or a program shows it."""

    code: str
    level: str
    name: str
    sentence: str
    trait: str
    side: str


def _with_reference(detail: Mapping[str, str]) -> Mapping[str, str]:
    """The detail with the other evaluation's reference as it is read out."""
    return {**detail, "other": format_number(detail["other"])} if "other" in detail else detail


def words_of(flag: Flag) -> FlagWords:
    """The flag in words; its trait should be loaded already."""
    where = ""
    if flag.trait is not None:
        where = flag.trait.name
        if flag.side and flag.side != Side.WHOLE:
            where = f"{where}, {Side(flag.side).label}"
    sentence = _SENTENCES.get(flag.code, _unknown)(_with_reference(flag.detail))
    return FlagWords(
        code=flag.code,
        level=flag.level,
        name=str(FLAG_NAMES.get(flag.code, flag.code)),
        sentence=f"{where}: {sentence}" if where else sentence,
        trait=flag.trait.slug if flag.trait is not None else "",
        side=flag.side,
    )


def _too_young(detail: Mapping[str, str]) -> str:
    return _("the dog was %(age)s days old; this is read from %(least)s days of age on.") % {
        "age": detail["age_days"],
        "least": detail["minimum_age_days"],
    }


def _outside_plausible(detail: Mapping[str, str]) -> str:
    return _("%(value)s is outside the usual %(lowest)s to %(highest)s.") % detail


def _beyond_four_sd(detail: Mapping[str, str]) -> str:
    return (
        _(
            "%(value)s is more than four standard deviations from the breed's mean of %(mean)s"
            " (%(dogs)s dogs)."
        )
        % detail
    )


def _index_mismatch(detail: Mapping[str, str]) -> str:
    if "computed" not in detail:
        return (
            _(
                "%(displacement_mm)s mm and a head radius of %(head_radius_mm)s mm"
                " cannot both be right."
            )
            % detail
        )
    return (
        _(
            "%(value)s was given, but %(displacement_mm)s mm ÷ %(head_radius_mm)s mm"
            " is %(computed)s."
        )
        % detail
    )


def _sides_differ(detail: Mapping[str, str]) -> str:
    return _("left %(left)s and right %(right)s differ by more than the usual %(usual)s.") % detail


def _sides_swapped(detail: Mapping[str, str]) -> str:
    return (
        _("left %(left)s and right %(right)s are those of %(other)s the other way round.") % detail
    )


def _side_missing(detail: Mapping[str, str]) -> str:
    return _("not read. The worse side counts, and this may be the one.")


def _chip_not_read(detail: Mapping[str, str]) -> str:
    return _("The chip was not read at the examination.")


def _chip_conflict(detail: Mapping[str, str]) -> str:
    facts = {"chip": in_groups(detail["chip"])}
    if "other_dog" in detail:
        return _("The chip read, %(chip)s, is another dog's.") % facts
    facts["chip_on_record"] = in_groups(detail["chip_on_record"])
    return _("The chip read, %(chip)s, is not the registered %(chip_on_record)s.") % facts


def _date_conflict(detail: Mapping[str, str]) -> str:
    examined = _day(detail["examined_on"])
    match detail["kind"]:
        case "future":
            return _("The examination on %(day)s is later than the day of sending.") % {
                "day": examined
            }
        case "long_ago":
            return _("The examination on %(day)s is more than ten years ago.") % {"day": examined}
        case "before_birth":
            return _("The examination on %(day)s is before the dog's birth on %(born)s.") % {
                "day": examined,
                "born": _day(detail["born_on"]),
            }
        case "after_death":
            return _("The examination on %(day)s is after the dog's death on %(died)s.") % {
                "day": examined,
                "died": _day(detail["died_on"]),
            }
        case _other:
            return _("The dog would have been more than twenty years old on %(day)s.") % {
                "day": examined
            }


def _age_unknown(detail: Mapping[str, str]) -> str:
    return _("The dog's birth date is not known.")


def _possible_duplicate(detail: Mapping[str, str]) -> str:
    facts = {"other": detail["other"], "day": _day(detail["other_examined_on"])}
    if detail["kind"] == "same_days":
        return _("%(other)s has the same dog and trait, examined on %(day)s.") % facts
    return _("%(other)s of %(day)s has exactly the same values.") % facts


def _same_evidence(detail: Mapping[str, str]) -> str:
    return _("One of the files is attached to %(other)s as well.") % detail


def _dog_unconfirmed(detail: Mapping[str, str]) -> str:
    return _("The clinic added this dog to the register; nobody has confirmed it yet.")


def _unknown(detail: Mapping[str, str]) -> str:
    return _("A check asks for a look.")


def _day(iso: str) -> str:
    return date_format(date.fromisoformat(iso), "j F Y")


_SENTENCES: dict[str, Callable[[Mapping[str, str]], str]] = {
    "too_young": _too_young,
    "outside_plausible": _outside_plausible,
    "beyond_four_sd": _beyond_four_sd,
    "index_mismatch": _index_mismatch,
    "sides_differ": _sides_differ,
    "sides_swapped": _sides_swapped,
    "side_missing": _side_missing,
    "chip_not_read": _chip_not_read,
    "chip_conflict": _chip_conflict,
    "date_conflict": _date_conflict,
    "age_unknown": _age_unknown,
    "possible_duplicate": _possible_duplicate,
    "same_evidence": _same_evidence,
    "dog_unconfirmed": _dog_unconfirmed,
}
