"""What is said of a dog: the facts, how they are read from JSON, and what can be checked of them
without asking the register. Whether they fit the register's other dogs is asked in ``dogs``."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from registry import clock
from registry.desk.errors import Invalid, Problem
from registry.models import Breed, Sex
from registry.science.microchip import ChipProblem, parse_chip


@dataclass(frozen=True, slots=True)
class DogFacts:
    """What is said of a dog; parents by public id. The chip may be given as a scanner or person
    types it."""

    breed: str
    name: str
    sex: str
    born_on: date
    call_name: str = ""
    colour: str = ""
    chip: str = ""
    studbook_number: str = ""
    sire: str = ""
    dam: str = ""
    died_on: date | None = None


def plain_values(facts: DogFacts, *, breed: Breed | None) -> tuple[dict[str, Any], list[Problem]]:
    """What can be said of the facts without asking the register: columns, and what is wrong."""
    problems: list[Problem] = []
    name = " ".join(facts.name.split())
    if not name:
        problems.append(Problem("/name", _("Enter the dog's registered name.")))
    for pointer, text, most in (
        ("/name", name, 120),
        ("/call_name", facts.call_name, 40),
        ("/colour", facts.colour, 60),
        ("/studbook_number", facts.studbook_number, 40),
    ):
        if len(text.strip()) > most:
            problems.append(
                Problem(pointer, _("Shorten this to %(most)d characters.") % {"most": most})
            )
        if any(map(_is_hidden, text)):
            problems.append(Problem(pointer, _("Take out the characters that cannot be printed.")))
    if breed is None:
        problems.append(Problem("/breed", _("Choose a breed of this register.")))
    if facts.sex not in Sex.values:
        problems.append(Problem("/sex", _("Choose female (F) or male (M).")))
    today = clock.today()
    if not date(1980, 1, 1) <= facts.born_on <= today:
        problems.append(Problem("/born_on", _("Enter a birth date from 1980 to today.")))
    if facts.died_on and not facts.born_on <= facts.died_on <= today:
        problems.append(Problem("/died_on", _("A dog dies after it is born and not after today.")))
    values = {
        "breed": breed,
        "name": name,
        "call_name": " ".join(facts.call_name.split()),
        "sex": facts.sex,
        "born_on": facts.born_on,
        "died_on": facts.died_on,
        "colour": " ".join(facts.colour.split()),
        "chip": _chip(facts.chip, problems),
        "studbook_number": " ".join(facts.studbook_number.split()),
    }
    return values, problems


def _is_hidden(sign: str) -> bool:
    """Whether a sign is not seen but changes what is: it turns the reading direction or has no
    width, so that two names look alike. Some scripts need the two joiners."""
    if sign.isspace() or sign in "\u200c\u200d":
        return False
    return unicodedata.category(sign) in {"Cc", "Cf", "Cs"}


def _chip(text: str, problems: list[Problem]) -> str | None:
    if not text.strip():
        return None
    try:
        return parse_chip(text).text15
    except ChipProblem as problem:
        problems.append(Problem("/chip", str(problem)))
        return None


def facts_from(body: Mapping[str, Any]) -> DogFacts:
    """DogFacts from a JSON object; raises Invalid naming the members that cannot be read."""
    problems: list[Problem] = []
    known = set(DogFacts.__slots__)
    problems.extend(
        Problem(f"/{name}", _("There is no such field. Take it out or correct its name."))
        for name in sorted(set(body) - known)
    )
    texts: dict[str, Any] = {}
    for name in known - {"born_on", "died_on"}:
        value = body.get(name)
        if value is None:
            texts[name] = ""
        elif isinstance(value, str):
            texts[name] = value
        else:
            problems.append(Problem(f"/{name}", _("Give this as text.")))
    born_on = _day(body.get("born_on"), "/born_on", problems)
    died_on = _day(body["died_on"], "/died_on", problems) if body.get("died_on") else None
    if problems or born_on is None:
        raise Invalid(problems)
    return DogFacts(born_on=born_on, died_on=died_on, **texts)


def _day(value: Any, pointer: str, problems: list[Problem]) -> date | None:
    try:
        # Python would also take a day of a week, 2026-W40-5, which no form or document offers.
        is_plain = isinstance(value, str) and len(value) == 10 and value[7] == "-"
        return date.fromisoformat(value if is_plain else "")
    except ValueError:
        problems.append(
            Problem(pointer, _("Enter a day as year-month-day, for example 2026-10-02."))
        )
        return None
