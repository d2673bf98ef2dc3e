"""Breeds and traits: what the registry can hold. A trait in use keeps its scale for ever."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, require_role
from registry.desk.cells import set_window
from registry.desk.errors import Invalid, NotFound, Problem
from registry.ledger import Change, append
from registry.models import Breed, Reading, Role, Trait

# Stored values are whole steps on this scale: changing it would change every result there is.
# Pages of a breed that stand where its traits stand: /breeds/tarn-spaniel/open/.
_TAKEN_SLUGS = frozenset({"open", "complete"})
_SCALE = ("slug", "kind", "resolution", "is_per_side", "better", "grades")


def add_breed(*, by: Actor, name: str, window_months: int = 120) -> Breed:
    """Add a breed."""
    _may(by)
    name = " ".join(name.split())
    if not name or len(name) > 80 or not slugify(name):
        raise Invalid.one("/name", _("Enter the breed's name, up to 80 characters."))
    _check_window(window_months)
    with transaction.atomic():
        if Breed.objects.filter(name__iexact=name).exists() or (
            Breed.objects.filter(slug=slugify(name)).exists()
        ):
            raise Invalid.one("/name", _("There is a breed of this name already."))
        breed = Breed.objects.create(name=name, slug=slugify(name), window_months=window_months)
        append(
            by=by,
            action="breed.added",
            subject=f"breed:{breed.slug}"[:40],
            changes={"name": Change(None, name), "window_months": Change(None, window_months)},
        )
    return breed


def change_window(*, by: Actor, breed_slug: str, window_months: int, reason: str) -> Breed:
    """Change a breed's rolling window. Past dates keep being answered with the window of their
    time."""
    _may(by)
    _check_window(window_months)
    reason = reasons.needed(reason, _("Say why the window changes."))
    with transaction.atomic():
        breed = Breed.objects.select_for_update().filter(slug=breed_slug).first()
        if breed is None:
            raise NotFound(_("There is no such breed."))
        if breed.window_months != window_months:
            before = breed.window_months
            set_window(breed=breed, months=window_months, at=clock.now())
            append(
                by=by,
                action="breed.window",
                subject=f"breed:{breed.slug}"[:40],
                changes={"window_months": Change(before, window_months)},
                reason=reason,
            )
    return breed


def require_announcement(
    *, by: Actor, breed_slug: str, first_day: date | None, reason: str
) -> Breed:
    """From which day on examinations of the breed have to be announced; None for no longer.

    A first day in the past is refused: what was examined by then could not be announced any more.
    """
    _may(by)
    reason = reasons.needed(reason, _("Say why this changes."))
    with transaction.atomic():
        breed = Breed.objects.select_for_update().filter(slug=breed_slug).first()
        if breed is None:
            raise NotFound(_("There is no such breed."))
        before = breed.requires_announcement_from
        if before != first_day:
            if first_day is not None and first_day < clock.today():
                raise Invalid.one("/first_day", _("Choose today or a later day."))
            Breed.objects.filter(pk=breed.pk).update(requires_announcement_from=first_day)
            breed.requires_announcement_from = first_day
            append(
                by=by,
                action="breed.announcement",
                subject=f"breed:{breed.slug}"[:40],
                changes={"requires_announcement_from": Change(before, first_day)},
                reason=reason,
            )
    return breed


def save_trait(*, by: Actor, slug: str, facts: Mapping[str, Any]) -> Trait:
    """Add the trait, or change it. The scale of a trait that has readings cannot change."""
    _may(by)
    with transaction.atomic():
        trait = Trait.objects.select_for_update().filter(slug=slug).first()
        is_new = trait is None
        trait = trait or Trait(slug=slug)
        before = {name: getattr(trait, name) for name in facts} if not is_new else {}
        for name, value in facts.items():
            setattr(trait, name, value)
        _check_trait(trait)
        changes = {
            name: Change(_plain(before.get(name)), _plain(getattr(trait, name)))
            for name in facts
            if _plain(before.get(name)) != _plain(getattr(trait, name))
        }
        frozen = sorted(set(changes) & set(_SCALE))
        if not is_new and frozen and Reading.objects.filter(trait=trait).exists():
            message = _(
                "There are results on this scale, so it cannot change. Add a new trait instead."
            )
            raise Invalid([Problem(f"/{name}", message) for name in frozen])
        if changes:
            trait.save()
            append(
                by=by,
                action="trait.added" if is_new else "trait.changed",
                subject=f"trait:{slug}"[:40],
                changes=changes,
            )
    return trait


def _may(by: Actor) -> None:
    # The system itself (role None) loads the shipped traits at installation.
    if by.role is not None:
        require_role(by, Role.SECRETARY)


def _check_window(months: int) -> None:
    if not 1 <= months <= 600:
        raise Invalid.one("/window_months", _("Choose a window of 1 to 600 months."))


def _check_trait(trait: Trait) -> None:
    if trait.slug in _TAKEN_SLUGS:
        raise Invalid.one(
            "/name", _("This name is the address of another page. Choose another name.")
        )
    try:
        trait.full_clean(validate_unique=False, validate_constraints=False)
        _check_shares(trait.heritability_prior, trait.litter_share_prior)
        _check_within_dog(trait)
        trait.validate_constraints()
    except ValidationError as error:
        raise Invalid(
            [
                Problem(f"/{name}" if name != "__all__" else "", message)
                for name, messages in error.message_dict.items()
                for message in messages
            ]
        ) from error
    if trait.is_graded and (
        not isinstance(trait.grades, list) or len(trait.grades) < 2 or trait.resolution != 1
    ):
        raise Invalid.one("/grades", _("List at least two grades, best first, and resolution 1."))


def _check_shares(heritability: Decimal | None, litter: Decimal | None) -> None:
    """Both published shares are parts of the variance and leave something for the rest."""
    if heritability is None:
        if litter is not None:
            raise Invalid.one(
                "/heritability_prior",
                _("Give the published heritability too, or neither of the two."),
            )
    elif heritability <= 0 or (litter or 0) < 0 or heritability + (litter or 0) >= 1:
        raise Invalid.one(
            "/heritability_prior",
            _("Heritability and the litter's share are parts of 1: together they stay below it."),
        )


def _check_within_dog(trait: Trait) -> None:
    """A deviation within dogs is of a number, and somebody published it."""
    deviation, source = trait.within_dog_sd, trait.within_dog_source
    if deviation is None and source:
        raise Invalid.one(
            "/within_dog_sd", _("Give the standard deviation too, or no source of it.")
        )
    if deviation is None:
        return
    if trait.is_graded:
        raise Invalid.one("/within_dog_sd", _("Grades have no standard deviation. Leave it empty."))
    if deviation <= 0:
        raise Invalid.one("/within_dog_sd", _("A standard deviation is more than 0."))
    if not source:
        raise Invalid.one(
            "/within_dog_source", _("Say where the standard deviation was published.")
        )


def _plain(value: Any) -> Any:
    return format(value.normalize(), "f") if isinstance(value, Decimal) else value
