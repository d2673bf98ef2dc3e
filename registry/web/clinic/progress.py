"""How far a draft is: what is missing, what cannot be right, what is unusual, what is next.

The desk says what is a fault and its checks what is unusual; here both are sorted by section.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from registry.desk.answers import Answers, look_over
from registry.desk.errors import Problem
from registry.desk.flagging import foreseen
from registry.models import Draft, Flag, FlagLevel
from registry.queries.clinic_results import reading_places, traits_by_slug
from registry.queries.flag_words import words_of
from registry.web.clinic.measurements import box, box_of_reading
from registry.web.clinic.sections import ExaminationForm, OwnerForm

SECTIONS = ("examination", "measurements", "owner", "files")
_POINTERS = {
    "dog": ("/dog",),
    "examination": ("/examined_on", "/examiner", "/conditions"),
    "measurements": ("/readings",),
    "owner": ("/owner", "/consent_to_publish"),
    "files": ("/evidence",),
}
_MEMBERS = {
    "examination": ("examined_on", "examiner", "conditions"),
    "measurements": ("readings",),
    "owner": ("owner", "consent_to_publish"),
}
_WARNED_IN = {
    "examination": frozenset({"date_conflict", "age_unknown", "chip_conflict"}),
    "measurements": frozenset(
        {
            "too_young",
            "outside_plausible",
            "beyond_four_sd",
            "index_mismatch",
            "sides_differ",
            "sides_swapped",
            "side_missing",
            "possible_duplicate",
        }
    ),
    "files": frozenset({"same_evidence"}),
}


@dataclass(frozen=True, slots=True)
class Look:
    """A draft looked over; every mapping goes from section to what belongs to it."""

    answers: Answers
    faults: Mapping[str, list[Problem]]
    warnings: Mapping[str, list[str]]
    states: Mapping[str, str]
    marks: Mapping[str, list[str]]

    @property
    def can_be_sent(self) -> bool:
        """Whether nothing is missing and nothing is wrong."""
        return not any(self.faults.values())

    def next_of(self, draft: Draft, after: str) -> str:
        """Where to go on: the next section that is not done, then the last look."""
        rest = SECTIONS[SECTIONS.index(after) + 1 :]
        for section in rest:
            if self.states[section] != "completed":
                return page_of(section, draft)
        return reverse("clinic:check", args=[draft.public_id])

    def warned(self, section: str) -> str:
        """A digest of the section's warnings; empty when there is none."""
        words = "\n".join(self.warnings.get(section, []))
        return hashlib.sha256(words.encode()).hexdigest()[:16] if words else ""


def look_at(draft: Draft) -> Look:
    """Look a draft over with the desk's rules and the checks that a registrar will see."""
    traits = traits_by_slug()
    answers, problems = look_over(draft.answers, traits=traits)
    files = list(draft.evidence.all())
    flags = []
    if draft.dog is not None:
        flags = foreseen(dog=draft.dog, answers=answers, answering=draft.evaluation, evidence=files)
    problems = [*problems, *_consent_missing(draft.answers), *_impossible_days(flags)]
    faults = {
        section: [problem for problem in problems if problem.pointer.startswith(pointers)]
        for section, pointers in _POINTERS.items()
    }
    warnings = {
        section: [
            words_of(flag).sentence
            for flag in flags
            if flag.code in codes and not _is_impossible_day(flag)
        ]
        for section, codes in _WARNED_IN.items()
    }
    states = {section: _state(section, draft, faults[section]) for section in SECTIONS}
    return Look(answers, faults, warnings, states, _marks(draft))


def page_of(section: str, draft: Draft, *, box_name: str = "", from_check: bool = False) -> str:
    """The address of a section's page, at a box when given."""
    if section == "dog":
        return reverse("clinic:identify") + f"?draft={draft.public_id}"
    address = reverse(f"clinic:{section}", args=[draft.public_id])
    if from_check:
        address += "?from=check"
    return address + (f"#id_{box_name}" if box_name else "")


def section_of(pointer: str) -> str:
    """The section that a pointer into the body belongs to; empty for none."""
    for section, pointers in _POINTERS.items():
        if pointer.startswith(pointers):
            return section
    return ""


def _state(section: str, draft: Draft, faults: list[Problem]) -> str:
    if section == "files":
        has_some = draft.evidence.exists() or (
            draft.evaluation is not None and draft.evaluation.evidence.exists()
        )
        return "completed" if has_some else "not-started"
    if not any(draft.answers.get(member) for member in _MEMBERS[section]) and not isinstance(
        draft.answers.get("consent_to_publish") if section == "owner" else None, bool
    ):
        return "not-started"
    if any(not _is_missing(draft.answers, fault.pointer) for fault in faults):
        return "problem"
    return "in-progress" if faults else "completed"


def _is_missing(answers: Mapping[str, Any], pointer: str) -> bool:
    """Whether the pointer leads to nothing: unfinished then, and not wrong."""
    place: Any = answers
    for step in pointer.strip("/").split("/"):
        if isinstance(place, list) and step.isdecimal() and int(step) < len(place):
            place = place[int(step)]
        elif isinstance(place, Mapping) and step in place:
            place = place[step]
        else:
            return True
    return place in ("", None, {}, [])


def _consent_missing(answers: Mapping[str, Any]) -> list[Problem]:
    """A program may leave consent out; on these pages the question is always answered."""
    if isinstance(answers.get("consent_to_publish"), bool):
        return []
    return [Problem("/consent_to_publish", _("Choose whether the owner agrees."))]


def _is_impossible_day(flag: Flag) -> bool:
    return flag.code == "date_conflict" and flag.level == FlagLevel.STOP


def _impossible_days(flags: list[Flag]) -> list[Problem]:
    return [
        Problem("/examined_on", words_of(flag).sentence + " " + _("Check the day."))
        for flag in flags
        if _is_impossible_day(flag)
    ]


def _marks(draft: Draft) -> dict[str, list[str]]:
    """The boxes that a registrar marked when returning the result, by section."""
    marks: dict[str, list[str]] = {section: [] for section in _POINTERS}
    if draft.evaluation is None:
        return {}
    places: list[tuple[str, str]] = []
    if any(pointer.startswith("/readings") for pointer in draft.evaluation.fields_to_fix):
        places = reading_places(draft.evaluation)
    for pointer in draft.evaluation.fields_to_fix:
        section = section_of(pointer)
        if section == "measurements":
            found = box_of_reading(pointer, places)
            marks[section] += [found] if found else [box(*place, "value") for place in places]
        elif section in {"examination", "owner"}:
            form = ExaminationForm if section == "examination" else OwnerForm
            marks[section] += [
                name for name, own in form.pointers.items() if own.startswith(pointer)
            ]
        elif section:
            marks[section].append("")
    return {section: names for section, names in marks.items() if names}
