"""What a certificate's file says, in the words of the paper: from the signed document alone, so
that a reader can hold it against a sheet of which nobody knows where it was printed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.credential.integrity import Document
from registry.science.numbers import format_number
from registry.telling.facts import Fact
from registry.wording import dates

_SEXES = {"female": gettext_lazy("Female"), "male": gettext_lazy("Male")}
_SIDES = {"left": gettext_lazy("left"), "right": gettext_lazy("right")}


def signed_facts(document: Document, *, with_results: bool = True) -> tuple[Fact, ...]:
    """Number, dog, day and results as they were signed; without results where the owner has taken
    back that they are shown."""
    said = document["credentialSubject"]
    exam = _mapping(said.get("examination"))
    facts = [
        Fact(_("Certificate number"), format_number(str(said["certificateNumber"]))),
        Fact(_("Name"), _text(said, "name")),
        Fact(_("Breed"), _text(said, "breed")),
        Fact(_("Sex"), str(_SEXES.get(_text(said, "sex"), ""))),
        Fact(_("Born"), _day(_text(said, "bornOn"))),
        Fact(_("Colour"), _text(said, "colour")),
        Fact(_("Chip ends in"), _text(said, "chipEnd")),
        Fact(_("Examined"), _day(_text(exam, "examinedOn"))),
        Fact(_("Clinic"), ", ".join(filter(None, (_text(exam, "clinic"), _text(exam, "town"))))),
        Fact(_("Certificate issued"), _day_of_instant(str(document.get("validFrom", "")))),
    ]
    if with_results:
        facts += _results(said)
    return tuple(fact for fact in facts if fact.value)


def _results(said: Mapping[str, Any]) -> Iterator[Fact]:
    """Each reading, and where the dog stood with it on the day of issue. A file of a result that is
    no longer shown has no readings; where the dog stood with them is not told either."""
    readings = [_mapping(each) for each in said.get("readings", ())]
    for read in readings:
        side = str(_SIDES.get(_text(read, "side"), ""))
        yield Fact(", ".join(filter(None, (_text(read, "name"), side))), _text(read, "value"))
    names = {_text(read, "trait"): _text(read, "name") for read in readings}
    for trait, standing in _mapping(said.get("standingAsIssued")).items():
        if trait not in names:
            continue
        told = _mapping(standing)
        place = {name: _text(told, name) for name in ("better", "equal", "worse")}
        # Files of the first version count the dog itself among its equals.
        if "others" in told:
            term = _("%(trait)s, among the other tested dogs that day")
            pattern = _("%(better)s better, %(equal)s the same, %(worse)s worse")
        else:
            term = _("%(trait)s, among tested dogs that day")
            pattern = _("%(better)s better, %(equal)s the same with this dog, %(worse)s worse")
        yield Fact(term % {"trait": names[trait]}, pattern % place)


def _mapping(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _text(said: Mapping[str, Any], name: str) -> str:
    return str(said.get(name, ""))


def _day(text: str) -> str:
    try:
        return dates.day(date.fromisoformat(text))
    except ValueError:
        return text


def _day_of_instant(text: str) -> str:
    """The day in the club's time zone, as the paper says it."""
    try:
        return dates.day(datetime.fromisoformat(text))
    except ValueError:
        return text
