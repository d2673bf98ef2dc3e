"""A draft's answers in words: one list of facts a section, each with where it is changed."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.desk.answers import Answers, ReadingAnswer
from registry.models import Dog, Draft, Evaluation, Side, Trait
from registry.science.microchip import in_groups
from registry.web.clinic.measurements import box
from registry.web.clinic.progress import Look, page_of
from registry.web.clinic.sections import ExaminationForm
from registry.wording import dates

Fact = dict[str, str]


def titles() -> dict[str, str]:
    """The sections' headings."""
    return {
        "dog": _("Dog"),
        "examination": _("Examination"),
        "measurements": _("Measurements"),
        "owner": _("Owner and consent"),
        "files": _("Films and papers"),
    }


def dog_facts(dog: Dog) -> list[Fact]:
    """What tells one dog from another, to be compared with the dog in front of the reader."""
    sire = dog.sire.name if dog.sire else _("not on record")
    dam = dog.dam.name if dog.dam else _("not on record")
    chip = in_groups(dog.chip or "")
    return [
        _fact(_("Name"), dog.name if not dog.call_name else f"{dog.name} ({dog.call_name})"),
        _fact(_("Breed"), dog.breed.name),
        _fact(_("Sex"), str(dog.get_sex_display())),
        _fact(_("Born"), dates.day(dog.born_on)),
        _fact(_("Colour"), dog.colour),
        _fact(_("Sire × dam"), f"{sire} × {dam}"),
        _fact(_("Chip"), chip),
        _fact(_("Studbook number"), dog.studbook_number),
    ]


def section_facts(section: str, draft: Draft, look: Look, traits: dict[str, Trait]) -> list[Fact]:
    """A section's answers for the last look, each with its Change link."""
    rows = {
        "examination": lambda: _examination(draft, look.answers),
        "measurements": lambda: _measurements(draft.answers, look.answers, traits),
        "owner": lambda: _owner(draft.answers),
    }[section]()
    return [
        {**_fact(term, value), "change": page_of(section, draft, box_name=name, from_check=True)}
        for name, term, value in rows
    ]


def plain_facts(section: str, draft: Draft, look: Look, traits: dict[str, Trait]) -> list[Fact]:
    """The same without links."""
    return [
        _fact(fact["term"], fact["value"]) for fact in section_facts(section, draft, look, traits)
    ]


def hint_of(section: str, draft: Draft, look: Look, traits: dict[str, Trait]) -> str:
    """A section in one line, for the task list."""
    answers = look.answers
    if section == "examination" and answers.examined_on != date.min:
        return f"{dates.day(answers.examined_on)}, {age_text(draft.dog, answers.examined_on)}"
    if section == "measurements":
        return "; ".join(
            f"{traits[slug].name} {values}" for slug, values in _by_trait(answers).items()
        )
    if section == "files":
        count = draft.evidence.count()
        return (
            ngettext("%(count)d file", "%(count)d files", count) % {"count": count} if count else ""
        )
    return ""


def evaluation_facts(evaluation: Evaluation) -> list[Fact]:
    """What was sent; readings and their traits are loaded already."""
    conditions = evaluation.conditions
    words = dict(ExaminationForm.base_fields["restraint"].choices)  # type: ignore[attr-defined]
    weight = conditions.get("weight_kg", "")
    readings = [
        _fact(
            f"{reading.trait.name}, {reading.get_side_display()}"
            if reading.trait.is_per_side
            else reading.trait.name,
            reading_text(
                ReadingAnswer(
                    reading.trait,
                    Side(reading.side),
                    reading.step,
                    reading.head_radius_mm,
                    reading.displacement_mm,
                )
            ),
        )
        for reading in evaluation.readings.all()
    ]
    return [
        _fact(_("Day of the examination"), dates.day(evaluation.examined_on)),
        _fact(_("Age that day"), age_text(evaluation.dog, evaluation.examined_on)),
        _fact(_("Veterinarian"), evaluation.examiner),
        _fact(_("Kept still"), str(words.get(conditions.get("restraint"), ""))),
        _fact(_("Weight"), f"{weight} kg" if weight else ""),
        _fact(_("Chip read that day"), _yes_no(conditions, "chip_read")),
        _fact(_("Other number read"), in_groups(conditions.get("chip_as_read", ""))),
        *readings,
        _fact(_("Owner"), evaluation.owner.full_name if evaluation.owner else ""),
        _fact(_("Owner agrees to publish"), _("yes") if evaluation.consent_to_publish else _("no")),
    ]


def age_text(dog: Dog | None, on: date) -> str:
    """The dog's age on a day: ``22 weeks old``, ``3 years, 8 months old``; empty when unknown."""
    if dog is None or on < dog.born_on:
        return ""
    days = (on - dog.born_on).days
    if days < 364:
        return ngettext("%(weeks)d week old", "%(weeks)d weeks old", days // 7) % {
            "weeks": days // 7
        }
    months = (on.year - dog.born_on.year) * 12 + on.month - dog.born_on.month
    months -= on.day < dog.born_on.day
    years, months = divmod(months, 12)
    parts = (
        ngettext("%(count)d year", "%(count)d years", years) % {"count": years},
        ngettext("%(count)d month", "%(count)d months", months) % {"count": months},
    )
    return _("%(years)s, %(months)s old") % {"years": parts[0], "months": parts[1]}


def reading_text(reading: ReadingAnswer) -> str:
    """``0.35 (3.9 mm ÷ 11.2 mm)``, ``104.5°``, ``B``."""
    text = reading.trait.value_text(reading.step) + reading.trait.unit
    if reading.head_radius_mm is None or reading.displacement_mm is None:
        return text
    lengths = f"{_millimetres(reading.displacement_mm)} mm ÷ {_millimetres(reading.head_radius_mm)}"
    return f"{text} ({lengths} mm)"


def _examination(draft: Draft, answers: Answers) -> list[tuple[str, str, str]]:
    boxes = ExaminationForm.shown(draft.answers)
    on = boxes["examined_on"]
    known = isinstance(on, date)
    words = dict(ExaminationForm.base_fields["restraint"].choices)  # type: ignore[attr-defined]
    weight = boxes["weight_kg"]
    return [
        ("examined_on", _("Day of the examination"), dates.day(on) if known else str(on)),
        ("examined_on", _("Age that day"), age_text(draft.dog, on) if known else ""),
        ("examiner", _("Veterinarian"), boxes["examiner"]),
        ("restraint_0", _("Kept still"), str(words.get(boxes["restraint"], ""))),
        ("weight_kg", _("Weight"), f"{weight} kg" if weight else ""),
        ("chip_read_0", _("Chip read that day"), _yes_no(draft.answers, "conditions", "chip_read")),
        ("chip_as_read", _("Other number read"), boxes["chip_as_read"]),
    ]


def _measurements(
    raw: dict[str, Any], answers: Answers, traits: dict[str, Trait]
) -> list[tuple[str, str, str]]:
    read = {(each.trait.slug, each.side.value): reading_text(each) for each in answers.readings}
    typed = {
        (each["trait"], each["side"]): " ".join(
            str(value) for name, value in each.items() if name not in {"trait", "side"}
        )
        for each in raw.get("readings", [])
    }
    rows = []
    for slug, trait in traits.items():
        sides = (Side.LEFT, Side.RIGHT) if trait.is_per_side else (Side.WHOLE,)
        if not any((slug, side.value) in typed for side in sides) and typed:
            continue
        for side in sides:
            term = f"{trait.name}, {side.label}" if trait.is_per_side else trait.name
            value = read.get((slug, side.value)) or typed.get((slug, side.value), "")
            rows.append((box(slug, side.value, "value"), term, value))
    return rows


def _owner(raw: dict[str, Any]) -> list[tuple[str, str, str]]:
    person = raw.get("owner", {})
    return [
        ("full_name", _("Owner"), person.get("full_name", "")),
        ("email", _("Mail address"), person.get("email", "")),
        ("consent_0", _("Owner agrees to publish"), _yes_no(raw, "consent_to_publish")),
    ]


def _by_trait(answers: Answers) -> dict[str, str]:
    lines: dict[str, list[str]] = {}
    for reading in answers.readings:
        value = reading.trait.value_text(reading.step) + reading.trait.unit
        side = "" if reading.side == Side.WHOLE else f"{reading.side.label} "
        lines.setdefault(reading.trait.slug, []).append(side + value)
    return {slug: ", ".join(values) for slug, values in lines.items()}


def _yes_no(raw: dict[str, Any], *path: str) -> str:
    place: Any = raw
    for step in path:
        place = place.get(step) if isinstance(place, dict) else None
    return {True: _("yes"), False: _("no")}.get(place, "") if isinstance(place, bool) else ""


def _millimetres(length: Decimal) -> str:
    return f"{length.normalize():f}"


def _fact(term: str, value: str) -> Fact:
    return {"term": term, "value": value, "href": "", "change": "", "hidden": ""}
