"""Hold every row of a pedigree's file to the rules that hold for one dog, and say what is wrong and
how to put it right. Nothing is written here; what may be written is ``pedigree_import``'s plan.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext as _

from registry.desk.dog_facts import DogFacts, plain_values
from registry.desk.parentage import (
    FEWEST_DAYS_BETWEEN_LITTERS,
    SEX_OF,
    Known,
    ParentRole,
    offspring_problems,
    why_not_litter,
    why_not_parent,
)
from registry.desk.pedigree_candidates import Candidate, Node, loops_of, node_of
from registry.desk.pedigree_register import Register
from registry.desk.pedigree_rows import Row, Sheet, read_day
from registry.models import Dog
from registry.science.microchip import ChipProblem, parse_chip

_SEXES = {"f": "F", "female": "F", "m": "M", "male": "M"}
# What an import fills in where the register says nothing.
FILLED = ("call_name", "died_on", "colour", "chip", "studbook_number")
_NO_DAY = date(1, 1, 1)
_MOST_NAMED = 8


def check_rows(sheet: Sheet) -> list[Candidate]:
    """Every row, in the order of the file, with its faults and its parents found."""
    return _Check(sheet).candidates


class _Check:
    def __init__(self, sheet: Sheet) -> None:
        self.register = _register_of(sheet)
        self.candidates = [self._read(row) for row in sheet.rows]
        for candidate in self.candidates:
            if not candidate.faults:
                self._recognise(candidate)
        self.by_key = self._by("key", lambda each: each.row["key"])
        self.by_chip = self._by("chip", lambda each: each.values["chip"] or "")
        self.by_studbook = self._by(
            "studbook_number", lambda each: each.values["studbook_number"], _breed_of
        )
        self._by("name", lambda each: each.values["name"], _birth_of)
        self._by("", lambda each: str(each.known.pk) if each.known else "")
        for candidate in self.candidates:
            self._find_parents(candidate)
        self._refuse_loops()
        for candidate in self.candidates:
            self._check_parents(candidate)
            self._compare(candidate)
        self._check_litters()
        self._refuse_after_refused()

    def _read(self, row: Row) -> Candidate:
        """The row as columns, with what can be said of it alone."""
        faults = [("", row.fault)] if row.fault else []
        days: dict[str, date | None] = {"born_on": None, "died_on": None}
        for column in days:
            if row[column]:
                try:
                    days[column] = read_day(row[column])
                except ValueError as error:
                    faults.append((column, str(error)))
        if not row["born_on"]:
            faults.append(("born_on", _("Enter the day of birth.")))
        facts = DogFacts(
            breed=row["breed"],
            name=row["name"],
            sex=_SEXES.get(row["sex"].casefold(), ""),
            born_on=days["born_on"] or _NO_DAY,
            call_name=row["call_name"],
            colour=row["colour"],
            chip=row["chip"],
            studbook_number=row["studbook_number"],
            died_on=days["died_on"] if days["born_on"] else None,
        )
        values, problems = plain_values(facts, breed=self.register.breed(row["breed"]))
        said = {column for column, _message in faults}
        faults += [
            (problem.pointer.strip("/"), problem.message)
            for problem in problems
            if problem.pointer.strip("/") not in said
        ]
        return Candidate(row, values, faults)

    def _recognise(self, candidate: Candidate) -> None:
        """Find the dog of the register that the row speaks of: by chip, studbook number, or name
        with day of birth."""
        values = candidate.values
        known: Dog | None = None
        if values["chip"]:
            known = self.register.with_chip(values["chip"])
        if known is None and values["studbook_number"]:
            same = self.register.with_studbook(values["studbook_number"], values["breed"])
            if len(same) > 1:
                candidate.faults.append(("studbook_number", _ambiguous(values["studbook_number"])))
                return
            known = same[0] if same else None
        if known is None:
            birth = (values["breed"], values["sex"], values["born_on"])
            same = self.register.namesakes(values["name"], *birth)
            known = same[0] if len(same) == 1 else None
        candidate.known = known
        if known is None:
            return
        for column in ("breed", "sex", "born_on"):
            if getattr(known, column) != values[column]:
                candidate.faults.append((column, _other_dog(known, column)))
        if values["chip"] and known.chip and self.register.with_chip(values["chip"]) is None:
            message = _(
                "%(dog)s is in the register with another chip. Check the number; if the dog"
                " carries two, leave this box empty."
            )
            candidate.faults.append(("chip", message % {"dog": known.name}))

    def _by(self, column: str, value: Any, within: Any = None) -> dict[str, list[Candidate]]:
        """Rows by what one box says; two rows that say the same there are a fault."""
        groups: dict[Any, list[Candidate]] = defaultdict(list)
        found: dict[str, list[Candidate]] = defaultdict(list)
        for candidate in self.candidates:
            text = value(candidate)
            if text:
                groups[text, within(candidate) if within else None].append(candidate)
                found[text].append(candidate)
        for group in groups.values():
            for candidate in group[1:]:
                message = _("Row %(row)d says the same. Take one of the two out, or correct it.")
                candidate.faults.append((column, message % {"row": group[0].row.number}))
        return found

    def _find_parents(self, candidate: Candidate) -> None:
        for role in SEX_OF:
            text = candidate.row[role]
            if not text:
                continue
            found = self._named(text)
            if len(found) == 1:
                candidate.parents[role] = found[0]
            elif found:
                candidate.faults.append((role, _ambiguous(text)))
            else:
                candidate.faults.append((role, _unknown(text)))
        if (
            len(candidate.parents) == 2
            and len({node_of(p) for p in candidate.parents.values()}) == 1
        ):
            candidate.faults.append(("dam", _("One dog cannot be both sire and dam.")))

    def _named(self, text: str) -> list[Candidate | Dog]:
        """The rows or dogs that a parent's box names: a key of the file, a chip, or a studbook
        number; a row of the file goes before the dog of the register it speaks of."""
        number = " ".join(text.split())
        if rows := self.by_key.get(text):
            return [*rows[:1]]
        try:
            chip = parse_chip(text).text15
        except ChipProblem:
            chip = ""
        rows = [*self.by_chip.get(chip, ())[:1], *self.by_studbook.get(number, ())]
        dogs = self.register.with_studbook(number)
        if chip and (dog := self.register.with_chip(chip)):
            dogs = [*dogs, dog]
        of_rows = {node_of(row) for row in rows}
        unique: dict[Node, Candidate | Dog] = {node_of(row): row for row in rows}
        unique.update({node_of(dog): dog for dog in dogs if node_of(dog) not in of_rows})
        return list(unique.values())

    def _check_parents(self, candidate: Candidate) -> None:
        if any(column in ("breed", "born_on") for column, _message in candidate.faults):
            return
        for role, parent in candidate.parents.items():
            is_read = isinstance(parent, Dog) or not parent.faults
            if is_read and not _is_on_record(candidate, role):
                known = Known.of(parent) if isinstance(parent, Dog) else parent.as_known()
                if why := why_not_parent(known, role, candidate.birth):
                    candidate.faults.append((role, why))

    def _check_litters(self) -> None:
        """No dam whelps twice within one pregnancy, in the file and the register together."""
        young: dict[Node, list[Candidate]] = defaultdict(list)
        for candidate in self.candidates:
            if not candidate.faults and "dam" in candidate.parents:
                young[node_of(candidate.parents["dam"])].append(candidate)
        on_record = self.register.litters(pk for kind, pk in young if kind == "dog")
        for (kind, pk), puppies in young.items():
            days = sorted(
                {puppy.values["born_on"] for puppy in puppies}
                | (on_record.get(pk, set()) if kind == "dog" else set())
            )
            close = {
                day
                for one, two in pairwise(days)
                for day in (one, two)
                if (two - one).days < FEWEST_DAYS_BETWEEN_LITTERS
            }
            for puppy in puppies:
                day = puppy.values["born_on"]
                if day in close and not _is_on_record(puppy, "dam"):
                    why = why_not_litter(_name(puppy.parents["dam"]), day, days)
                    puppy.faults.append(("dam", why))

    def _compare(self, candidate: Candidate) -> None:
        """Say where the register has another word than the row: nothing there is overwritten."""
        dog = candidate.known
        if dog is None or candidate.faults:
            return
        for column in ("name", *FILLED):
            here, there = candidate.values[column], getattr(dog, column)
            is_second_chip = column == "chip" and self.register.with_chip(here or "") == dog
            if here and there and here != there and not is_second_chip:
                candidate.differences.append((column, str(there)))
        for role, parent in candidate.parents.items():
            there = dog.sire if role == "sire" else dog.dam
            if there is not None and node_of(parent) != ("dog", there.pk):
                candidate.differences.append((role, there.name))
        died_on = candidate.values["died_on"]
        if died_on and not dog.died_on:
            for problem in offspring_problems(dog, Known.of(dog)._replace(died_on=died_on)):
                candidate.faults.append(("died_on", problem.message))

    def _refuse_loops(self) -> None:
        """Every row that stands on a loop of parents; loops through the register count too."""
        edges: dict[Node, list[Node]] = {}
        for candidate in self.candidates:
            new = [
                node_of(parent)
                for role, parent in candidate.parents.items()
                if not _is_on_record(candidate, role)
            ]
            if new:
                edges[node_of(candidate)] = new
        known = {pk for nodes in (edges, *edges.values()) for kind, pk in nodes if kind == "dog"}
        for pk, parents in self.register.parents_above(known).items():
            above: list[Node] = [("dog", parent) for parent in parents if parent is not None]
            edges.setdefault(("dog", pk), []).extend(above)
        loops = loops_of(edges)
        rows: dict[int, list[Candidate]] = defaultdict(list)
        for candidate in self.candidates:
            if node_of(candidate) in loops and candidate.parents:
                rows[loops[node_of(candidate)]].append(candidate)
        for members in rows.values():
            said = _loop_words(members)
            for candidate in members:
                role = next(iter(candidate.parents))
                candidate.faults.append((role, said))

    def _refuse_after_refused(self) -> None:
        """A row whose parent is a row that cannot be taken cannot be taken either."""
        young: dict[int, list[tuple[ParentRole, Candidate]]] = defaultdict(list)
        for candidate in self.candidates:
            for role, parent in candidate.parents.items():
                if isinstance(parent, Candidate):
                    young[id(parent)].append((role, candidate))
        waiting = [candidate for candidate in self.candidates if candidate.faults]
        while waiting:
            refused = waiting.pop()
            for role, candidate in young[id(refused)]:
                if not candidate.faults:
                    waiting.append(candidate)
                    message = _("The parent in row %(row)d has a fault. Put that row right first.")
                    candidate.faults.append((role, message % {"row": refused.row.number}))


def _register_of(sheet: Sheet) -> Register:
    chips, numbers, names = set(), set(), set()
    for row in sheet.rows:
        for column in ("chip", "sire", "dam"):
            try:
                chips.add(parse_chip(row[column]).text15)
            except ChipProblem:
                continue
        numbers |= {" ".join(row[name].split()) for name in ("studbook_number", "sire", "dam")}
        names.add(" ".join(row["name"].split()))
    return Register(
        chips=chips,
        studbook_numbers={number for number in numbers if 0 < len(number) <= 40},
        names={name for name in names if 0 < len(name) <= 120},
    )


def _name(each: Candidate | Dog) -> str:
    return each.name if isinstance(each, Dog) else str(each.values["name"])


def _is_on_record(candidate: Candidate, role: ParentRole) -> bool:
    """Whether the register names a parent already, which is not overwritten."""
    dog = candidate.known
    return dog is not None and (dog.sire_id if role == "sire" else dog.dam_id) is not None


def _loop_words(members: list[Candidate]) -> str:
    numbers = [str(each.row.number) for each in members]
    shown = ", ".join(numbers[:_MOST_NAMED]) + (" …" if len(numbers) > _MOST_NAMED else "")
    if len(numbers) == 1:
        return _(
            "This dog would be its own ancestor (row %(rows)s). Correct the parent that is wrong."
        ) % {"rows": shown}
    return _(
        "These rows make a dog its own ancestor: %(rows)s. Correct the parent that is wrong in one"
        " of them."
    ) % {"rows": shown}


def _other_dog(known: Dog, column: str) -> str:
    return _(
        "In the register this is %(dog)s, where %(column)s is %(there)s. Correct this box, or the"
        " dog in the register."
    ) % {"dog": known.name, "column": column, "there": getattr(known, column)}


def _ambiguous(text: str) -> str:
    return _("More than one dog answers to “%(text)s”. Give its chip number.") % {"text": text[:80]}


def _unknown(text: str) -> str:
    try:
        parse_chip(text)
    except ChipProblem as problem:
        if problem.code in ("rounded", "decimal", "lost_zero"):
            return str(problem)
    return _(
        "Neither this file nor the register has “%(text)s”. Add the parent as a row, give its chip"
        " or studbook number, or leave the box empty."
    ) % {"text": text[:80]}


def _breed_of(candidate: Candidate) -> Any:
    return candidate.values["breed"]


def _birth_of(candidate: Candidate) -> Any:
    values = candidate.values
    return values["breed"], values["sex"], values["born_on"]
