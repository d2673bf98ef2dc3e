"""A few pages of the invented club that are worth a look, found in the database as it is now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import quote

from django.utils import timezone

from registry.desk.mail import owner_token
from registry.models import BreedingRun, Dog, Evaluation, RunState, Sex, State

# A breed looks different after so many years.
_LONG_AGO = timedelta(days=4 * 365)


@dataclass(frozen=True, slots=True)
class Sight:
    """The path of a page, and what is to be seen there."""

    path: str
    why: str


def sights() -> Iterator[Sight]:
    """The pages; one whose like does not exist (any more) is left out."""
    certified = Evaluation.objects.filter(certificate__isnull=False).select_related(
        "certificate", "dog"
    )
    shown = certified.filter(consent_to_publish=True)
    current = shown.filter(state=State.ACCEPTED, dog__sire__isnull=False).order_by("pk").last()
    if current is not None:
        name = current.dog.name
        yield Sight(f"/C/{current.certificate.number}", "a certificate")
        yield Sight(f"/find/?q={quote(_with_a_slip(name))}", f"a search for {name}, with a slip")
    long_ago = timezone.now() - _LONG_AGO
    old = shown.filter(
        state=State.ACCEPTED,
        certificate__issued_at__lt=long_ago,
        dog__breed__slug="tarn-spaniel",
        readings__trait__slug="hip-laxity",
    )
    replaced = shown.filter(state=State.REPLACED)
    for some, why in (
        (old, "one of some years ago: where the dog stood then, and where it stands today"),
        (shown.filter(state=State.REVOKED), "a revoked certificate"),
        (replaced.filter(corrected_by=None), "a certificate that a newer result replaced"),
        (replaced.exclude(corrected_by=None), "a certificate that was put right"),
    ):
        past = some.order_by("certificate__issued_at").last()
        if past is not None:
            yield Sight(f"/C/{past.certificate.number}", why)
    hidden = certified.filter(state=State.ACCEPTED, consent_to_publish=False).order_by("pk").last()
    if hidden is not None:
        yield Sight(f"/dogs/{hidden.dog.public_id}/", "a dog whose result is not released")
        yield Sight(f"/owner/{owner_token(hidden)}/", "its owner's private link")
    if mates := breeder_page():
        yield Sight(mates, "mates for a dam, and what their litters may be like")
        yield Sight("/breeds/tarn-spaniel/hip-laxity/course/", "a breed's course over the years")
        then = timezone.localdate(long_ago).isoformat()
        yield Sight(f"/breeds/tarn-spaniel/hip-laxity/?as_of={then}", "the same breed back then")
    small = Dog.objects.filter(breed__slug="harbour-spitz").order_by("pk").first()
    if small is not None:
        yield Sight("/breeds/harbour-spitz/elbow-grade/", "a breed with too few tested dogs")


def breeder_page() -> str:
    """The path of the mates of a young dam of the largest breed whose result is released; empty
    where there is none."""
    bred = BreedingRun.objects.filter(state=RunState.DONE).order_by("-dogs", "breed")
    largest = bred.values_list("breed", flat=True).first()
    if largest is None:
        return ""
    today = timezone.localdate()
    dam = (
        Dog.objects.filter(
            breed=largest,
            sex=Sex.FEMALE,
            died_on__isnull=True,
            sire__isnull=False,
            born_on__range=(today - timedelta(days=5 * 365), today - timedelta(days=2 * 365)),
            counted_values__trait__slug="hip-laxity",
            counted_values__counted_until__isnull=True,
            counted_values__evaluation__consent_to_publish=True,
        )
        .order_by("pk")
        .first()
    )
    return f"/dogs/{dam.public_id}/mates/" if dam else ""


def chip_to_try() -> str:
    """The chip of a grown dog without a result, for who wants to send one; empty where there is
    none."""
    a_year_ago = timezone.localdate() - timedelta(days=365)
    grown = Dog.objects.filter(is_confirmed=True, died_on__isnull=True, born_on__lt=a_year_ago)
    untested = grown.filter(chip__isnull=False, evaluations__isnull=True).order_by("-born_on", "pk")
    return untested.values_list("chip", flat=True).first() or ""


def _with_a_slip(name: str) -> str:
    """The name in small letters with two neighbours exchanged, as a thumb would."""
    name = name.lower()
    at = len(name) // 2
    while at < len(name) - 1 and " " in name[at : at + 2]:
        at += 1
    return name[:at] + name[at : at + 2][::-1] + name[at + 2 :]
