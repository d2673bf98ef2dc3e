"""What one clinic sees of its own: what came back, what is half done, what it sent.

Another clinic's rows are never among them, so a page that starts from here cannot show one.
"""

from __future__ import annotations

from django.db.models import QuerySet

from registry.models import Dog, Draft, Evaluation, Evidence, Reading, State, Trait


def returned_to(clinic_pk: int) -> QuerySet[Evaluation]:
    """What waits for the clinic's correction, longest first."""
    return _own(clinic_pk).filter(state=State.RETURNED).order_by("decided_at", "pk")


def waiting_of(clinic_pk: int) -> QuerySet[Evaluation]:
    """What the club has not decided yet, oldest first."""
    return _own(clinic_pk).filter(state=State.SUBMITTED).order_by("submitted_at", "pk")


def settled_of(clinic_pk: int) -> QuerySet[Evaluation]:
    """What needs nothing from anybody any more, newest first."""
    open_states = (State.SUBMITTED, State.RETURNED)
    return _own(clinic_pk).exclude(state__in=open_states).order_by("-decided_at", "-submitted_at")


def drafts_of(clinic_pk: int, *, dog: Dog | None = None) -> QuerySet[Draft]:
    """The clinic's unsent drafts, last changed first; of one dog when given."""
    drafts = Draft.objects.filter(clinic_id=clinic_pk, sent_as__isnull=True).select_related("dog")
    return (drafts.filter(dog=dog) if dog is not None else drafts).order_by("-updated_at", "-pk")


def draft_of(clinic_pk: int, public_id: str) -> Draft | None:
    """One draft, sent or not, with what its pages show; None for another clinic's or none."""
    return (
        Draft.objects.filter(clinic_id=clinic_pk, public_id=public_id)
        .select_related("dog__breed", "dog__sire", "dog__dam", "evaluation__corrects", "sent_as")
        .first()
    )


def file_of(clinic_pk: int, public_id: str) -> Evidence | None:
    """One of the clinic's files; None for another clinic's or none."""
    return Evidence.objects.filter(clinic_id=clinic_pk, public_id=public_id).first()


def last_examiner(clinic_pk: int, user_pk: int) -> str:
    """The examiner of the last result this person sent for this clinic; empty before the first."""
    sent = _own(clinic_pk).filter(submitted_by_id=user_pk).order_by("-submitted_at")
    return sent.values_list("examiner", flat=True).first() or ""


def reading_places(evaluation: Evaluation) -> list[tuple[str, str]]:
    """Trait slug and side of each reading, in the order in which a pointer counts them."""
    readings = Reading.objects.filter(evaluation=evaluation).order_by("trait__position", "side")
    return list(readings.values_list("trait__slug", "side"))


def traits_by_slug() -> dict[str, Trait]:
    """Every trait a clinic can report, in the order of the pages."""
    return {trait.slug: trait for trait in Trait.objects.order_by("position", "slug")}


def dogs_by_studbook(number: str) -> list[Dog]:
    """Dogs with this studbook number, capitals ignored; at most ten."""
    found = Dog.objects.filter(studbook_number__iexact=" ".join(number.split()))
    return list(found.exclude(studbook_number="").select_related("breed", "sire", "dam")[:10])


def _own(clinic_pk: int) -> QuerySet[Evaluation]:
    return Evaluation.objects.filter(clinic_id=clinic_pk).select_related("dog__breed")
