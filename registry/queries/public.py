"""What an anonymous reader may know: certificates, dogs, parents and litter mates. Reads only.

Narrow SQL and frozen rows in place of model objects: a certificate page is opened from a phone by
many people at once, and building objects costs more there than asking the database. Whether a value
may be shown is decided here: a value whose owner has not agreed never leaves this module.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.db import connection

from registry.models import Kind, Side, State
from registry.queries.counted_spans import SPANS, Turn, counted_by, turns_from
from registry.science.scale import Better

# A row as the database hands it over.
Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class PublicTrait:
    """A trait as the pages need it. ``better`` is the better end of the *steps*: grades are stored
    best first, so fewer steps are better."""

    pk: int
    slug: str
    name: str
    unit: str
    resolution: Decimal
    better: Better
    better_word: str
    worse_word: str
    joint: str
    is_per_side: bool
    is_counted: bool
    grades: Sequence[str]
    guidance: Sequence[Mapping[str, Any]]

    def __hash__(self) -> int:
        """By its key; equality still compares every field, so a changed trait is another one."""
        return hash(self.pk)

    def value_text(self, step: int) -> str:
        """A step in the words of the trait, with its unit: ``0.31``, ``104.5°``, ``B``; a step
        beyond the grades has none."""
        if self.grades:
            return str(self.grades[step]) if 0 <= step < len(self.grades) else ""
        return f"{(step * self.resolution).quantize(self.resolution)}{self.unit}"

    def sd_text(self, steps: float) -> str:
        """A standard deviation of so many steps with its unit, one decimal finer than a value."""
        decimals = max(1 - int(self.resolution.as_tuple().exponent), 0)
        return f"{steps * float(self.resolution):.{decimals}f}{self.unit}"

    def worst(self, steps: Sequence[int]) -> int:
        """The step that speaks for the dog: the worse side's."""
        return max(steps) if self.better == "lower" else min(steps)


@dataclass(frozen=True, slots=True)
class PublicDog:
    """A dog's public facts; no person is among them."""

    pk: int
    public_id: str
    name: str
    call_name: str
    sex: str
    born_on: date
    died_on: date | None
    colour: str
    chip: str
    studbook_number: str
    sire_id: int | None
    dam_id: int | None
    breed_id: int
    breed: str
    breed_slug: str
    window_months: int

    @property
    def short_name(self) -> str:
        """What people call the dog: the call name where there is one."""
        return self.call_name or self.name


@dataclass(frozen=True, slots=True)
class ReadTrait:
    """A trait with what one evaluation found: a step for each side that was read.

    ``counts`` tells whether this evaluation is the one that counts for the dog's trait today.
    """

    trait: PublicTrait
    steps: Mapping[str, int]
    counts: bool

    def __hash__(self) -> int:
        """The steps are a mapping, which has no hash of its own."""
        return hash((self.trait, tuple(self.steps.items()), self.counts))

    @property
    def spoken(self) -> int:
        """The step that speaks for the dog."""
        return self.trait.worst(list(self.steps.values()))


@dataclass(frozen=True, slots=True)
class CertificateRecord:
    """One certificate. ``newer`` is the number of the dog's latest other accepted evaluation.

    ``readings`` is empty unless the owner has agreed and the result was not taken back. ``reason``
    is why the club took the result back or replaced it, empty otherwise; ``ceased_at`` is when the
    last of its values stopped counting, for one that is replaced; ``turns`` are all the times when
    another result's coming or going changed what counts of it. ``submitted_at`` and
    ``announced_at`` are the server's own instants, whatever day of examination was given.
    ``counted_at_issue`` are the keys of the traits for which it counted from the day of issue on.
    """

    number: str
    issued_at: datetime
    as_issued: Mapping[str, Mapping[str, Any]]
    evaluation_pk: int
    evaluation_id: str
    state: State
    is_released: bool
    examined_on: date
    conditions: Mapping[str, Any]
    reason: str
    ceased_at: datetime | None
    clinic: str
    clinic_town: str
    dog: PublicDog
    newer: str
    submitted_at: datetime
    announced_at: datetime | None
    turns: tuple[Turn, ...] = ()
    counted_at_issue: frozenset[int] = frozenset()
    readings: tuple[ReadTrait, ...] = field(default=())

    @property
    def is_corrected(self) -> bool:
        """Whether the club has put a corrected result of the same exam in its place: only that
        wants a reason, a newer exam needs none."""
        return self.state == State.REPLACED and bool(self.reason)


@dataclass(frozen=True, slots=True)
class ReleasedValue:
    """A value that counts for a dog today and whose owner agreed to show it;
    ``evaluation_id`` is the key of its evaluation, None where nobody asked."""

    trait: PublicTrait
    step: int
    evaluation_id: int | None = None


@dataclass(frozen=True, slots=True)
class Relative:
    """A parent or litter mate. No values means: not tested or not released."""

    relation: str
    public_id: str
    name: str
    sex: str
    born_on: date
    values: tuple[ReleasedValue, ...]


# Once: the enumeration makes its list, with translated labels, each time it is asked.
_SIDES = tuple(Side.values)

DOG_COLUMNS = (
    "d.id, d.public_id, d.name, d.call_name, d.sex, d.born_on, d.died_on, d.colour, d.chip,"
    " d.studbook_number, d.sire_id, d.dam_id, b.id, b.name, b.slug, b.window_months"
)
_CERTIFICATE = (
    "SELECT c.number, c.issued_at, c.standing, e.id, e.public_id, e.state, e.consent_to_publish,"  # noqa: S608
    " e.examined_on, e.conditions, e.reason, k.name, k.town,"
    " (SELECT c2.number FROM registry_evaluation e2"
    "  JOIN registry_certificate c2 ON c2.evaluation_id = e2.id"
    "  WHERE e2.dog_id = e.dog_id AND e2.state = 'accepted' AND e2.id <> e.id"
    "  ORDER BY e2.examined_on DESC, e2.id DESC LIMIT 1),"
    " (SELECT MAX(v.counted_until) FROM registry_countedvalue v WHERE v.evaluation_id = e.id),"
    f" {DOG_COLUMNS}, e.submitted_at,"
    # A corrected result has the announcement of the one it corrects.
    " (WITH RECURSIVE chain(id, corrects_id) AS (SELECT e.id, e.corrects_id UNION ALL"
    "  SELECT p.id, p.corrects_id FROM chain JOIN registry_evaluation p"
    "  ON p.id = chain.corrects_id)"
    "  SELECT MIN(a.announced_at) FROM registry_announcement a JOIN chain"
    "  ON a.evaluation_id = chain.id),"
    " e.decided_at, {spans}"
    " FROM registry_certificate c"
    " JOIN registry_evaluation e ON e.id = c.evaluation_id"
    " JOIN registry_clinic k ON k.id = e.clinic_id"
    " JOIN registry_dog d ON d.id = e.dog_id"
    " JOIN registry_breed b ON b.id = d.breed_id"
    " WHERE c.number = %s"
)
TRAIT_COLUMNS = (
    "t.id, t.slug, t.name, t.kind, t.unit, t.resolution, t.better, t.better_word, t.worse_word,"
    " t.joint, t.is_per_side, t.is_counted, t.grades, t.guidance"
)
_READINGS = (
    f"SELECT {TRAIT_COLUMNS}, r.side, r.step, v.id"  # noqa: S608
    " FROM registry_trait t"
    " LEFT JOIN registry_reading r ON r.trait_id = t.id AND r.evaluation_id = %s"
    # The plus keeps a database from walking every value of the trait by that column's index, where
    # the evaluation's own few are asked for.
    " LEFT JOIN registry_countedvalue v ON +v.trait_id = t.id AND v.evaluation_id = %s"
    " AND v.counted_until IS NULL"
    " ORDER BY t.position, t.slug, r.side"
)
_FAMILY = (
    "SELECT d.id, d.public_id, d.name, d.sex, d.born_on, v.trait_id, v.step, e.consent_to_publish,"
    " e.id"
    " FROM registry_dog d"
    " LEFT JOIN registry_countedvalue v ON v.dog_id = d.id AND v.counted_until IS NULL"
    " LEFT JOIN registry_evaluation e ON e.id = v.evaluation_id"
    " WHERE d.id IN (%s, %s) OR (d.dam_id = %s AND d.born_on = %s AND d.id <> %s)"
    " ORDER BY d.name, d.id"
)


def certificate_record(number: str, *, for_owner: bool = False) -> CertificateRecord | None:
    """The certificate with this number, or None: two queries.

    ``for_owner`` gives the readings also when they are not released: only to the private link.
    """
    row = certificate_row(number)
    if row is None:
        return None
    return record_from(row, reading_rows(row, for_owner=for_owner))


def certificate_row(number: str) -> Row | None:
    """The certificate with its evaluation, clinic and dog: one query."""
    with connection.cursor() as cursor:
        cursor.execute(_CERTIFICATE.format(spans=SPANS[connection.vendor]), [number])
        row = cursor.fetchone()
    return tuple(row) if row else None


def reading_rows(certificate: Row, *, for_owner: bool = False) -> tuple[Row, ...]:
    """Its readings, unless they are not to be shown: one query or none."""
    if certificate[5] == State.REVOKED or not (certificate[6] or for_owner):
        return ()
    with connection.cursor() as cursor:
        cursor.execute(_READINGS, [certificate[3], certificate[3]])
        return tuple(cursor.fetchall())


def record_from(row: Row, readings: Sequence[Row]) -> CertificateRecord:
    """The record that the rows tell of."""
    state = State(row[5])
    return CertificateRecord(
        number=row[0],
        issued_at=as_instant(row[1]),
        as_issued=as_json(row[2]),
        evaluation_pk=row[3],
        evaluation_id=row[4],
        state=state,
        is_released=bool(row[6]),
        examined_on=as_date(row[7]),
        conditions=as_json(row[8]),
        reason=row[9] if state in (State.REVOKED, State.REPLACED) else "",
        clinic=row[10],
        clinic_town=row[11],
        newer=row[12] or "",
        ceased_at=as_instant(row[13]) if row[13] and state == State.REPLACED else None,
        dog=dog_from(row[14:30]),
        submitted_at=as_instant(row[30]),
        announced_at=as_instant(row[31]) if row[31] else None,
        turns=turns_from(
            row[33],
            issued_at=as_instant(row[1]),
            decided_at=as_instant(row[32]) if row[32] else None,
        ),
        counted_at_issue=counted_by(row[33], as_instant(row[1])),
        readings=_readings(readings),
    )


def _readings(rows: Sequence[Row]) -> tuple[ReadTrait, ...]:
    found: dict[int, tuple[Row, dict[str, int]]] = {}
    for row in rows:
        if row[14] is not None:
            found.setdefault(row[0], (row, {}))[1][row[14]] = row[15]
    return tuple(
        ReadTrait(trait_from(row), in_order(steps), row[16] is not None)
        for row, steps in found.values()
    )


def in_order(steps: Mapping[str, int]) -> dict[str, int]:
    """Left before right, as on every page."""
    return {side: steps[side] for side in _SIDES if side in steps}


def family_of(dog: PublicDog, traits: Sequence[PublicTrait]) -> tuple[Relative, ...]:
    """Sire, dam and litter mates with the released values of the given traits: one query."""
    return family_from(family_rows(dog), dog, traits)


def family_rows(dog: PublicDog) -> tuple[Row, ...]:
    """Sire, dam and litter mates with what counts for them, shown or not: one query."""
    with connection.cursor() as cursor:
        cursor.execute(
            _FAMILY,
            [dog.sire_id, dog.dam_id, dog.dam_id, sql_date(dog.born_on), dog.pk],
        )
        return tuple(cursor.fetchall())


def family_from(
    rows: Sequence[Row], dog: PublicDog, traits: Sequence[PublicTrait]
) -> tuple[Relative, ...]:
    """The relatives that the rows tell of, with the values whose owners agreed."""
    by_pk = {trait.pk: trait for trait in traits}
    relations = {dog.sire_id: "sire", dog.dam_id: "dam"}
    dogs: dict[int, Row] = {}
    values: dict[int, list[ReleasedValue]] = {}
    for row in rows:
        dogs.setdefault(row[0], row)
        if row[7] and row[5] in by_pk:
            value = ReleasedValue(by_pk[row[5]], row[6], row[8])
            values.setdefault(row[0], []).append(value)
    order = {trait.pk: place for place, trait in enumerate(traits)}
    return tuple(
        Relative(
            relation=relations.get(pk, "litter"),
            public_id=row[1],
            name=row[2],
            sex=row[3],
            born_on=as_date(row[4]),
            values=tuple(sorted(values.get(pk, ()), key=lambda value: order[value.trait.pk])),
        )
        for pk, row in dogs.items()
    )


def dog_from(row: Sequence[Any]) -> PublicDog:
    """A dog from the columns of ``DOG_COLUMNS``."""
    return PublicDog(
        pk=row[0],
        public_id=row[1],
        name=row[2],
        call_name=row[3],
        sex=row[4],
        born_on=as_date(row[5]),
        died_on=as_date(row[6]) if row[6] else None,
        colour=row[7],
        chip=row[8] or "",
        studbook_number=row[9],
        sire_id=row[10],
        dam_id=row[11],
        breed_id=row[12],
        breed=row[13],
        breed_slug=row[14],
        window_months=row[15],
    )


def trait_from(row: Sequence[Any]) -> PublicTrait:
    """A trait from the columns of ``TRAIT_COLUMNS``."""
    is_graded = row[3] == Kind.GRADED
    return PublicTrait(
        pk=row[0],
        slug=row[1],
        name=row[2],
        unit=row[4],
        resolution=Decimal(str(row[5])).normalize(),
        better="lower" if is_graded or row[6] == "lower" else "higher",
        better_word=row[7],
        worse_word=row[8],
        joint=row[9],
        is_per_side=bool(row[10]),
        is_counted=bool(row[11]),
        grades=as_json(row[12]) if is_graded else (),
        guidance=as_json(row[13]),
    )


def as_json(value: Any) -> Any:
    """A JSON column of a raw query: SQLite hands over the text."""
    return json.loads(value) if isinstance(value, str) else value


def as_date(value: date | str) -> date:
    """A date column of a raw query: SQLite hands over the text."""
    return date.fromisoformat(value) if isinstance(value, str) else value


def as_instant(value: datetime | str) -> datetime:
    """An instant of a raw query, aware: SQLite hands over UTC text without a zone."""
    instant = datetime.fromisoformat(value) if isinstance(value, str) else value
    return instant if instant.tzinfo else instant.replace(tzinfo=UTC)


def sql_date(value: date) -> Any:
    """A date as the database's raw queries take it."""
    return connection.ops.adapt_datefield_value(value)
