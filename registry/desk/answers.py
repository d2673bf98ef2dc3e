"""Read the answers of a form, a file row or a REST body into typed facts, or say every fault at
once.

All faces hand in the same shape (the REST body of an evaluation); each fault carries a JSON pointer
into it.
Nothing is written here and no permission is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.desk.errors import Invalid, Problem
from registry.models import Kind, Side, Trait
from registry.science.laxity import MeasurementProblem, index_step
from registry.science.microchip import ChipProblem, parse_chip
from registry.science.scale import ScaleProblem, exact_step


class Restraint(models.TextChoices):
    """How the dog was kept still."""

    SEDATION = "sedation", gettext_lazy("sedation")
    GENERAL_ANAESTHESIA = "general-anaesthesia", gettext_lazy("general anaesthesia")
    NONE = "none", gettext_lazy("none")


@dataclass(frozen=True, slots=True)
class ReadingAnswer:
    """One reading; radius and displacement in millimetres where they were given."""

    trait: Trait
    side: Side
    step: int
    head_radius_mm: Decimal | None = None
    displacement_mm: Decimal | None = None


@dataclass(frozen=True, slots=True)
class OwnerAnswer:
    """Whose dog it is, and where to reach them."""

    full_name: str
    email: str


@dataclass(frozen=True, slots=True)
class Answers:
    """The checked answers. ``dog`` is left as given (chip or id): finding it is the desk's work."""

    dog: Mapping[str, str]
    examined_on: date
    examiner: str
    conditions: dict[str, Any]
    readings: tuple[ReadingAnswer, ...]
    owner: OwnerAnswer | None
    consent_to_publish: bool
    evidence: tuple[str, ...] = field(default=())


def read_answers(body: Mapping[str, Any], *, traits: Mapping[str, Trait]) -> Answers:
    """Check the whole body; raises Invalid with every fault found."""
    answers, problems = look_over(body, traits=traits)
    if problems:
        raise Invalid(problems)
    return answers


def day_of(text: str) -> date:
    """The day of an examination; raises Invalid."""
    problems: list[Problem] = []
    day = _day(text, problems)
    if problems:
        raise Invalid(problems)
    return day


def look_over(
    body: Mapping[str, Any], *, traits: Mapping[str, Trait]
) -> tuple[Answers, list[Problem]]:
    """What can be read of a body that may be half done, and every fault of it.

    An unreadable day is ``date.min``, an unreadable text is empty, and unreadable readings are
    left out.
    """
    problems: list[Problem] = []
    _unknown_members(body, problems)
    answers = Answers(
        dog=_dog(body.get("dog"), problems),
        examined_on=_day(body.get("examined_on"), problems),
        examiner=_text(
            body.get("examiner"),
            "/examiner",
            120,
            problems,
            _("Enter the name of the veterinarian who examined the dog."),
        ),
        conditions=_conditions(body.get("conditions"), problems),
        readings=_readings(body.get("readings"), traits, problems),
        owner=_owner(body.get("owner"), problems),
        consent_to_publish=_consent(body.get("consent_to_publish"), problems),
        evidence=_evidence(body.get("evidence"), problems),
    )
    return answers, problems


_MEMBERS = frozenset(
    (
        "conditions",
        "consent_to_publish",
        "dog",
        "evidence",
        "examined_on",
        "examiner",
        "owner",
        "readings",
    )
)


def _unknown_members(body: Mapping[str, Any], problems: list[Problem]) -> None:
    for name in sorted(set(body) - _MEMBERS):
        # A misspelt member must not be dropped in silence: the clinic would believe it was sent.
        pointer = "/" + name.replace("~", "~0").replace("/", "~1")
        problems.append(
            Problem(pointer, _("There is no such field. Take it out or correct its name."))
        )


def _dog(value: Any, problems: list[Problem]) -> Mapping[str, str]:
    if isinstance(value, Mapping):
        for key in ("id", "chip"):
            if isinstance(value.get(key), str) and value[key].strip():
                return {key: value[key].strip()}
    problems.append(Problem("/dog", _("Say which dog this is: give its chip number.")))
    return {}


def _day(value: Any, problems: list[Problem]) -> date:
    try:
        # Python would also take a day of a week, 2026-W40-5, which no form or document offers.
        is_plain = isinstance(value, str) and len(value) == 10 and value[7] == "-"
        return date.fromisoformat(value if is_plain else "")
    except ValueError:
        problems.append(
            Problem(
                "/examined_on",
                _("Enter the day of the examination as year-month-day, for example 2026-10-02."),
            )
        )
        return date.min


def _text(value: Any, pointer: str, most: int, problems: list[Problem], missing: str) -> str:
    text = " ".join(value.split()) if isinstance(value, str) else ""
    if not text:
        problems.append(Problem(pointer, missing))
    elif len(text) > most:
        problems.append(
            Problem(pointer, _("Shorten this to %(most)d characters.") % {"most": most})
        )
    elif "\x00" in text:
        problems.append(Problem(pointer, _("Take out the characters that cannot be printed.")))
    return text


def _conditions(value: Any, problems: list[Problem]) -> dict[str, Any]:
    given = value if isinstance(value, Mapping) else {}
    conditions: dict[str, Any] = {}
    restraint = given.get("restraint")
    if restraint in Restraint.values:
        conditions["restraint"] = restraint
    else:
        problems.append(
            Problem(
                "/conditions/restraint",
                _("Say how the dog was kept still: sedation, general-anaesthesia or none."),
            )
        )
    chip_read = given.get("chip_read")
    if isinstance(chip_read, bool):
        conditions["chip_read"] = chip_read
    else:
        problems.append(
            Problem(
                "/conditions/chip_read",
                _("Say whether the chip was read at the examination: true or false."),
            )
        )
    weight = given.get("weight_kg")
    if weight not in (None, ""):
        kilograms = _number(weight)
        if kilograms is None or not Decimal("0.2") <= kilograms <= Decimal(150):
            hint = _("Enter the weight in kilograms, like 18.5.")
            problems.append(Problem("/conditions/weight_kg", _in_quotes(weight, hint)))
        else:
            conditions["weight_kg"] = str(kilograms)
    as_read = given.get("chip_as_read")
    if as_read not in (None, ""):
        try:
            conditions["chip_as_read"] = parse_chip(str(as_read)).text15
        except ChipProblem as problem:
            problems.append(Problem("/conditions/chip_as_read", str(problem)))
    problems.extend(
        Problem(
            f"/conditions/{name}", _("There is no such field. Take it out or correct its name.")
        )
        for name in sorted(set(given) - {"restraint", "chip_read", "chip_as_read", "weight_kg"})
    )
    return conditions


def _readings(
    value: Any, traits: Mapping[str, Trait], problems: list[Problem]
) -> tuple[ReadingAnswer, ...]:
    if not isinstance(value, list) or not value:
        problems.append(
            Problem("/readings", _("Give at least one reading: a trait, a side and its value."))
        )
        return ()
    readings: list[ReadingAnswer] = []
    seen: dict[tuple[str, str], int] = {}
    for index, item in enumerate(value):
        pointer = f"/readings/{index}"
        reading = _reading(item, pointer, traits, problems)
        if reading is None:
            continue
        key = (reading.trait.slug, reading.side)
        if key in seen:
            problems.append(
                Problem(
                    pointer,
                    _("Reading %(first)d already gives this trait and side. Keep one of them.")
                    % {"first": seen[key] + 1},
                )
            )
            continue
        seen[key] = index
        readings.append(reading)
    return tuple(readings)


def _reading(
    item: Any, pointer: str, traits: Mapping[str, Trait], problems: list[Problem]
) -> ReadingAnswer | None:
    if not isinstance(item, Mapping):
        problems.append(Problem(pointer, _("A reading is an object with trait, side and value.")))
        return None
    trait = traits.get(item["trait"]) if isinstance(item.get("trait"), str) else None
    if trait is None:
        problems.append(
            Problem(
                f"{pointer}/trait",
                _("Choose one of these traits: %(slugs)s.") % {"slugs": ", ".join(sorted(traits))},
            )
        )
        return None
    allowed = (Side.LEFT, Side.RIGHT) if trait.is_per_side else (Side.WHOLE,)
    if item.get("side") not in allowed:
        problems.append(
            Problem(
                f"{pointer}/side", _("Say which side: %(sides)s.") % {"sides": ", ".join(allowed)}
            )
        )
        return None
    side = Side(item["side"])
    if trait.kind == Kind.GRADED:
        return _graded(item, pointer, trait, side, problems)
    return _measured(item, pointer, trait, side, problems)


def _graded(
    item: Mapping[str, Any], pointer: str, trait: Trait, side: Side, problems: list[Problem]
) -> ReadingAnswer | None:
    value = item.get("value")
    grade = str(value).strip().upper() if isinstance(value, str | int) else ""
    grades = [str(known).upper() for known in trait.grades]
    if grade not in grades:
        problems.append(
            Problem(
                f"{pointer}/value",
                _("Enter one of these grades: %(grades)s.") % {"grades": ", ".join(grades)},
            )
        )
        return None
    return ReadingAnswer(trait, side, grades.index(grade))


def _measured(
    item: Mapping[str, Any], pointer: str, trait: Trait, side: Side, problems: list[Problem]
) -> ReadingAnswer | None:
    before = len(problems)
    step = computed = None
    radius = displacement = None
    if item.get("value") not in (None, ""):
        step = _step(item["value"], f"{pointer}/value", trait, problems)
    if item.get("head_radius_mm") not in (None, "") or item.get("displacement_mm") not in (
        None,
        "",
    ):
        if not trait.from_radius:
            problems.append(
                Problem(pointer, _("This trait is not computed from radius and displacement."))
            )
            return None
        radius = _millimetres(item.get("head_radius_mm"), f"{pointer}/head_radius_mm", problems)
        displacement = _millimetres(
            item.get("displacement_mm"), f"{pointer}/displacement_mm", problems
        )
        if radius is not None and displacement is not None:
            try:
                computed = index_step(radius, displacement, trait.resolution)
            except MeasurementProblem as problem:
                problems.append(Problem(f"{pointer}/head_radius_mm", str(problem)))
    if len(problems) > before:
        return None
    spoken = computed if step is None else step
    if spoken is None:
        hint = (
            _("Enter the value, or head radius and displacement.")
            if trait.from_radius
            else _("Enter the value.")
        )
        problems.append(Problem(f"{pointer}/value", hint))
        return None
    return ReadingAnswer(trait, side, spoken, radius, displacement)


def _step(value: Any, pointer: str, trait: Trait, problems: list[Problem]) -> int | None:
    number = _number(value)
    example = trait.value_text(round(trait.lowest / trait.resolution))
    if number is None:
        hint = _("Enter a number like %(example)s.") % {"example": example}
        problems.append(Problem(pointer, _in_quotes(value, hint)))
        return None
    # A whole range beyond the plausible one is a slip of the hand and would stretch the breed's
    # scale; the merely unusual is taken, and flagged for the registrar.
    span = trait.highest - trait.lowest
    low = max(trait.lowest - span, Decimal(0)) if trait.lowest >= 0 else trait.lowest - span
    if not low <= number <= trait.highest + span:
        problems.append(
            Problem(
                pointer,
                _(
                    "This cannot be right: values lie between %(lowest)s and %(highest)s."
                    " Check the decimal point."
                )
                % {
                    "lowest": trait.value_text(round(trait.lowest / trait.resolution)),
                    "highest": trait.value_text(round(trait.highest / trait.resolution)),
                },
            )
        )
        return None
    try:
        return exact_step(number, trait.tidy(trait.resolution))
    except ScaleProblem as problem:
        problems.append(Problem(pointer, str(problem)))
        return None


def _millimetres(value: Any, pointer: str, problems: list[Problem]) -> Decimal | None:
    number = _number(value)
    if number is None or not 0 <= number < 100:
        problems.append(Problem(pointer, _in_quotes(value, _("Enter millimetres, like 11.2."))))
        return None
    return number


def _in_quotes(value: Any, hint: str) -> str:
    """The hint; for a number of JSON, which programs round, with how to send it."""
    if not isinstance(value, float):
        return hint
    return hint + " " + _("Send it as text, in quotes.")


def _number(value: Any) -> Decimal | None:
    """A finite decimal from text or a whole number; a decimal comma is taken as a point."""
    if isinstance(value, bool) or not isinstance(value, str | int):
        return None
    text = str(value).strip().replace(",", ".")
    try:
        number = Decimal(text) if text.isascii() and "_" not in text and len(text) <= 12 else None
    except InvalidOperation:
        return None
    if number is None or not number.is_finite() or abs(number) > 10**9:
        return None
    return number


def _owner(value: Any, problems: list[Problem]) -> OwnerAnswer | None:
    if value in (None, {}):
        return None
    if not isinstance(value, Mapping):
        problems.append(
            Problem("/owner", _("Give the owner as an object with full_name and email."))
        )
        return None
    name = _text(
        value.get("full_name"), "/owner/full_name", 120, problems, _("Enter the owner's full name.")
    )
    email = value.get("email") or ""
    if email:
        try:
            validate_email(email)
        except (ValidationError, TypeError):
            problems.append(
                Problem("/owner/email", _("Enter a mail address like name@example.org."))
            )
            email = ""
    return OwnerAnswer(name, str(email).strip())


def _consent(value: Any, problems: list[Problem]) -> bool:
    if value is None:
        # Silence is not consent.
        return False
    if not isinstance(value, bool):
        problems.append(
            Problem(
                "/consent_to_publish", _("Say whether the owner agrees to publish: true or false.")
            )
        )
        return False
    return value


def _evidence(value: Any, problems: list[Problem]) -> tuple[str, ...]:
    if value is None:
        return ()
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        problems.append(Problem("/evidence", _("Give evidence as a list of file ids.")))
        return ()
    return tuple(dict.fromkeys(value))
