"""A clinic announces an examination before its result is known, and withdraws what will not take
place. The result that comes is put to its announcement here, inside ``submit``'s transaction.

A day may be announced up to eight weeks ahead, and up to three days late: late is better than
never, and the page shows the server's time beside the day.
"""

from __future__ import annotations

import secrets
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, clinic_of, person_of, require_role
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.desk.known_dogs import dog_by_id, hold
from registry.ledger import Change, append
from registry.models import Announcement, Clinic, Dog, Evaluation, Role, State
from registry.science.numbers import make_number
from registry.wording import dates

MOST_AHEAD = timedelta(weeks=8)
MOST_LATE = timedelta(days=3)
# So far the day of the examination may lie from the day announced.
NEAR = timedelta(days=14)


def announce(*, by: Actor, dog_id: str, examined_on: date) -> Announcement:
    """Announce that the actor's clinic will examine the dog on this day.

    Raises NotFound for no such dog, Invalid for a day too far off or whose result was sent already,
    Conflict when the clinic has announced the same dog and day.
    """
    require_role(by, Role.CLINIC)
    _check_day(examined_on)
    with transaction.atomic():
        # The clinic's row is held, so that one announcement sent twice at once stays one.
        clinic = (
            Clinic.objects.select_for_update(no_key=True)
            .filter(pk=clinic_of(by), is_active=True)
            .first()
        )
        if clinic is None:
            message = _("Your clinic may not announce at the moment. Ask the secretary.")
            raise Invalid([Problem("", message)])
        dog = _held_dog(dog_id)
        _check_new(clinic, dog, examined_on)
        made = Announcement.objects.create(
            reference=_new_reference(),
            dog=dog,
            clinic=clinic,
            examined_on=examined_on,
            announced_by_id=person_of(by),
            announced_at=clock.now(),
        )
        append(
            by=by,
            action="announcement.made",
            subject=f"announcement:{made.public_id}",
            dog=dog.public_id,
            changes={
                "reference": Change(None, made.reference),
                "examined_on": Change(None, examined_on),
            },
        )
    return made


def withdraw_announcement(*, by: Actor, announcement_id: str, reason: str) -> Announcement:
    """Take an open announcement back. It stays public as withdrawn, with the reason."""
    require_role(by, Role.CLINIC)
    missing = _("Say why the examination does not take place.")
    reason = " ".join(reasons.needed(reason, missing).split())
    with transaction.atomic():
        own = Announcement.objects.filter(public_id=announcement_id, clinic_id=clinic_of(by))
        claimed = own.filter(evaluation__isnull=True, withdrawn_at__isnull=True).update(
            withdrawn_at=clock.now(), reason=reason
        )
        found = own.select_related("dog", "clinic", "evaluation").first()
        if found is None:
            raise NotFound(_("There is no such announcement."))
        if not claimed:
            raise Conflict(
                _("This announcement is withdrawn already.")
                if found.withdrawn_at
                else _("A result was sent for this announcement. It cannot be withdrawn."),
                state="withdrawn" if found.withdrawn_at else "answered",
                at=found.withdrawn_at,
            )
        append(
            by=by,
            action="announcement.withdrawn",
            subject=f"announcement:{found.public_id}",
            dog=found.dog.public_id,
            changes={"state": Change("open", "withdrawn")},
            reason=reason,
        )
    return found


def put_to_announcement(by: Actor, evaluation: Evaluation) -> None:
    """Let the clinic's open announcement nearest to the day be answered by the result: one query
    where there is none. Inside the caller's transaction; raises Invalid where the breed requires an
    announcement and none was made in time."""
    found = nearest_open(evaluation)
    if found is not None:
        Announcement.objects.filter(pk=found.pk).update(evaluation=evaluation)
        append(
            by=by,
            action="announcement.answered",
            subject=f"announcement:{found.public_id}",
            dog=evaluation.dog.public_id,
            changes={"evaluation": Change(None, evaluation.public_id)},
        )
    _check_required(evaluation, found)


def put_again(by: Actor, evaluation: Evaluation) -> None:
    """The same for a result that was corrected: its announcement stays, unless it was of another
    dog, which is then awaited again."""
    kept = Announcement.objects.filter(evaluation=evaluation).select_related("dog").first()
    if kept is not None and kept.dog_id != evaluation.dog_id:
        Announcement.objects.filter(pk=kept.pk).update(evaluation=None)
        append(
            by=by,
            action="announcement.reopened",
            subject=f"announcement:{kept.public_id}",
            dog=kept.dog.public_id,
            changes={"evaluation": Change(evaluation.public_id, None)},
        )
        kept = None
    if kept is None:
        put_to_announcement(by, evaluation)
    else:
        _check_required(evaluation, kept)


def nearest_open(evaluation: Evaluation) -> Announcement | None:
    """The clinic's open announcement of the dog within 14 days of the examination, locked."""
    near = Announcement.objects.select_for_update().filter(
        dog_id=evaluation.dog_id,
        clinic_id=evaluation.clinic_id,
        evaluation__isnull=True,
        withdrawn_at__isnull=True,
        examined_on__range=(evaluation.examined_on - NEAR, evaluation.examined_on + NEAR),
    )
    return min(
        near,
        key=lambda each: (abs(each.examined_on - evaluation.examined_on), each.announced_at),
        default=None,
    )


def _check_required(evaluation: Evaluation, found: Announcement | None) -> None:
    first_day = evaluation.dog.breed.requires_announcement_from
    if first_day is None or evaluation.examined_on < first_day:
        return
    if found is not None and _in_time(found, evaluation.examined_on):
        return
    # A result that was taken back and is sent anew was announced all the same.
    earlier = Announcement.objects.filter(
        dog_id=evaluation.dog_id,
        clinic_id=evaluation.clinic_id,
        evaluation__state=State.WITHDRAWN,
        examined_on__range=(evaluation.examined_on - NEAR, evaluation.examined_on + NEAR),
    )
    if any(_in_time(each, evaluation.examined_on) for each in earlier):
        return
    message = _(
        "%(breed)s: an examination from %(day)s on has to be announced before or on its day, and"
        " this one was not. Announce the next one on the page “Announce an examination” before"
        " the dog is examined."
    )
    raise Invalid.one(
        "/examined_on",
        message % {"breed": evaluation.dog.breed.name, "day": dates.day(first_day)},
    )


def _in_time(found: Announcement, examined_on: date) -> bool:
    return timezone.localdate(found.announced_at) <= examined_on


def _check_day(examined_on: date) -> None:
    today = clock.today()
    if not today - MOST_LATE <= examined_on <= today + MOST_AHEAD:
        raise Invalid.one(
            "/examined_on",
            _("Choose a day between %(first)s and %(last)s.")
            % {"first": dates.day(today - MOST_LATE), "last": dates.day(today + MOST_AHEAD)},
        )


def _held_dog(dog_id: str) -> Dog:
    dog = dog_by_id(dog_id)
    if dog is not None and not hold(dog):
        # Merged away in between: the id now names the other dog.
        dog = dog_by_id(dog_id)
    if dog is None:
        raise NotFound(_("There is no such dog."))
    return dog


def _check_new(clinic: Clinic, dog: Dog, examined_on: date) -> None:
    if dog.born_on > examined_on:
        raise Invalid.one("/examined_on", _("The dog is born after this day."))
    same = {"clinic": clinic, "dog": dog, "examined_on": examined_on}
    if Announcement.objects.filter(**same, evaluation=None, withdrawn_at=None).exists():
        raise Conflict(_("Your clinic has announced this dog for this day already."), state="open")
    if Evaluation.objects.filter(**same).exclude(state=State.WITHDRAWN).exists():
        raise Invalid.one("/examined_on", _("The result of this day was sent in already."))


def _new_reference() -> str:
    while True:
        number = make_number(secrets.randbelow)
        if not Announcement.objects.filter(reference=number).exists():
            return number
