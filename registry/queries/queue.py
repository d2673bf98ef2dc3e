"""The registrar's queue: what waits, oldest first, filtered over the whole list and not over one
page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.core.paginator import Page, Paginator
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils import timezone

from registry.models import Evaluation, Flag, Reading, State
from registry.queries.flag_words import FLAG_NAMES, FlagWords, words_of
from registry.science.working_days import is_overdue, working_days_between

PER_PAGE = 50


@dataclass(frozen=True, slots=True)
class QueueFilter:
    """What the address asks for; empty means all. ``flag`` is a code, or ``any`` or ``none``."""

    state: str = State.SUBMITTED
    clinic: str = ""
    breed: str = ""
    flag: str = ""
    late: bool = False
    text: str = ""

    @classmethod
    def from_query(cls, query: Mapping[str, str]) -> QueueFilter:
        """Read an address's query; what is not understood is left out."""
        state = query.get("state", State.SUBMITTED)
        flag = query.get("flag", "")
        return cls(
            state=state if state in State.values else State.SUBMITTED,
            clinic=query.get("clinic", "")[:16],
            breed=query.get("breed", "")[:80],
            flag=flag if flag in FLAG_NAMES or flag in ("any", "none") else "",
            late=query.get("late") == "yes",
            text=query.get("q", "").replace("\x00", "").strip()[:80],
        )

    @property
    def is_narrowed(self) -> bool:
        """Whether anything but the state is asked for."""
        return bool(self.clinic or self.breed or self.flag or self.late or self.text)


@dataclass(frozen=True, slots=True)
class QueueRow:
    """One waiting evaluation as the list shows it."""

    evaluation: Evaluation
    flags: list[FlagWords]
    waiting_days: int
    is_late: bool

    @property
    def flag_names(self) -> list[tuple[str, str]]:
        """Level and name of each kind of flag once, however many readings have it."""
        return list(dict.fromkeys((flag.level, flag.name) for flag in self.flags))

    @property
    def is_clean(self) -> bool:
        """Whether it may be approved together with others."""
        return not self.flags


@dataclass(frozen=True, slots=True)
class Queue:
    """One page of the queue, with how many match of how many there are."""

    rows: list[QueueRow]
    page: Page[Evaluation]
    matching: int
    total: int


def queue_page(asked: QueueFilter, *, number: int = 1, per_page: int = PER_PAGE) -> Queue:
    """The asked-for page; a number past the end gives the last page."""
    matching = filtered(asked)
    page = Paginator(matching, per_page).get_page(number)
    today = timezone.localdate()
    return Queue(
        rows=[row_of(evaluation, today) for evaluation in page],
        page=page,
        matching=page.paginator.count,
        total=Evaluation.objects.filter(state=asked.state).count(),
    )


def row_of(evaluation: Evaluation, today: date) -> QueueRow:
    """One evaluation with its flags in words and its waiting time."""
    since = timezone.localdate(evaluation.submitted_at)
    return QueueRow(
        evaluation=evaluation,
        flags=[words_of(flag) for flag in evaluation.flags.all()],
        waiting_days=working_days_between(since, today),
        is_late=is_overdue(since, today),
    )


def filtered(asked: QueueFilter) -> QuerySet[Evaluation]:
    """Every evaluation that matches, oldest first."""
    found = Evaluation.objects.filter(state=asked.state).order_by("submitted_at", "pk")
    if asked.clinic:
        found = found.filter(clinic__public_id=asked.clinic)
    if asked.breed:
        found = found.filter(dog__breed__slug=asked.breed)
    if asked.text:
        found = found.filter(
            Q(reference__iexact=asked.text.replace(" ", "").replace("-", ""))
            | Q(dog__name__icontains=asked.text)
            | Q(dog__chip=asked.text)
        )
    if asked.flag:
        flags = Flag.objects.filter(evaluation=OuterRef("pk"))
        if asked.flag == "none":
            found = found.filter(~Exists(flags))
        elif asked.flag == "any":
            found = found.filter(Exists(flags))
        else:
            found = found.filter(Exists(flags.filter(code=asked.flag)))
    if asked.late:
        found = found.filter(submitted_at__lt=_late_before())
    return found.select_related("dog__breed", "clinic").prefetch_related(
        Prefetch("flags", Flag.objects.select_related("trait").order_by("pk")),
        Prefetch("readings", Reading.objects.select_related("trait").order_by("pk")),
    )


def next_waiting(after: Evaluation) -> Evaluation | None:
    """The submitted evaluation that follows in the queue, if any."""
    return (
        Evaluation.objects.filter(state=State.SUBMITTED)
        .filter(
            Q(submitted_at__gt=after.submitted_at)
            | Q(submitted_at=after.submitted_at, pk__gt=after.pk)
        )
        .order_by("submitted_at", "pk")
        .first()
    )


def previous_waiting(before: Evaluation) -> Evaluation | None:
    """The submitted evaluation that comes before in the queue, if any."""
    return (
        Evaluation.objects.filter(state=State.SUBMITTED)
        .filter(
            Q(submitted_at__lt=before.submitted_at)
            | Q(submitted_at=before.submitted_at, pk__lt=before.pk)
        )
        .order_by("-submitted_at", "-pk")
        .first()
    )


def _late_before() -> datetime:
    """The instant before which a result waits longer than is usual."""
    now = timezone.now()
    day = timezone.localdate(now)
    while not is_overdue(day, timezone.localdate(now)):
        day = date.fromordinal(day.toordinal() - 1)
    start_of_next = datetime.combine(date.fromordinal(day.toordinal() + 1), datetime.min.time())
    return timezone.make_aware(start_of_next)
