"""What the register knows that a pedigree's file speaks of: loaded in a few queries, then asked row
by row without any."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from typing import TypeVar

from registry.models import Breed, Dog, DogAlias

_TOGETHER = 500
T = TypeVar("T", str, int)


class Register:
    """Dogs by chip, studbook number and name, as far as a file names them; litters and ancestors
    of those that were found."""

    def __init__(
        self, *, chips: Iterable[str], studbook_numbers: Iterable[str], names: Iterable[str]
    ) -> None:
        self.breeds = list(Breed.objects.all())
        self.dogs: dict[int, Dog] = {}
        self._by_chip: dict[str, int] = {}
        self._by_studbook: dict[str, list[int]] = defaultdict(list)
        self._by_name: dict[str, list[int]] = defaultdict(list)
        rows = Dog.objects.select_related("breed", "sire", "dam")
        chips = list(chips)
        for some in _together(chips):
            for dog in rows.filter(chip__in=some):
                self._by_chip[str(dog.chip)] = self._keep(dog)
            for alias in DogAlias.objects.filter(chip__in=some).select_related("dog__breed"):
                self._by_chip[str(alias.chip)] = self._keep(alias.dog)
        for some in _together(studbook_numbers):
            for dog in rows.filter(studbook_number__in=some).order_by("pk"):
                self._by_studbook[dog.studbook_number].append(self._keep(dog))
        for some in _together(names):
            for dog in rows.filter(name__in=some).order_by("pk"):
                self._by_name[dog.name].append(self._keep(dog))

    def _keep(self, dog: Dog) -> int:
        return self.dogs.setdefault(dog.pk, dog).pk

    def breed(self, text: str) -> Breed | None:
        """The breed with this slug or name; without a text the register's only one."""
        if not text:
            return self.breeds[0] if len(self.breeds) == 1 else None
        folded = text.casefold()
        found = [each for each in self.breeds if folded in (each.slug, each.name.casefold())]
        return found[0] if found else None

    def with_chip(self, chip: str) -> Dog | None:
        """The dog with this chip, also a merged entry's."""
        pk = self._by_chip.get(chip)
        return None if pk is None else self.dogs[pk]

    def with_studbook(self, number: str, breed: Breed | None = None) -> list[Dog]:
        """Dogs with this studbook number, of the breed if one is given."""
        found = [self.dogs[pk] for pk in self._by_studbook.get(number, ())]
        return [dog for dog in found if breed is None or dog.breed_id == breed.pk]

    def namesakes(self, name: str, breed: Breed, sex: str, born_on: date) -> list[Dog]:
        """Dogs of exactly this name, breed, sex and day of birth."""
        found = [self.dogs[pk] for pk in self._by_name.get(name, ())]
        asked = (breed.pk, sex, born_on)
        return [dog for dog in found if (dog.breed_id, dog.sex, dog.born_on) == asked]

    def litters(self, dams: Iterable[int]) -> dict[int, set[date]]:
        """Days on which each of these dams has whelped."""
        found: dict[int, set[date]] = defaultdict(set)
        for some in _together(dams):
            for dam, born_on in Dog.objects.filter(dam__in=some).values_list("dam_id", "born_on"):
                found[dam].add(born_on)
        return found

    def parents_above(self, dogs: Iterable[int]) -> dict[int, tuple[int | None, int | None]]:
        """Sire and dam of each of these dogs and of all their ancestors."""
        found: dict[int, tuple[int | None, int | None]] = {}
        generation = set(dogs)
        while generation:
            for some in _together(generation):
                for pk, sire, dam in Dog.objects.filter(pk__in=some).values_list(
                    "pk", "sire_id", "dam_id"
                ):
                    found[pk] = (sire, dam)
            above = {parent for pk in generation for parent in found.get(pk, ())}
            generation = {parent for parent in above if parent is not None} - found.keys()
        return found


def _together(items: Iterable[T]) -> Iterator[list[T]]:
    """The items once each, some hundreds at a time: a query takes no endless list."""
    rest = sorted(set(items))
    for start in range(0, len(rest), _TOGETHER):
        yield rest[start : start + _TOGETHER]
