"""A certificate's sheet of paper: everything it prints, from the reads; and its PDF.

The sheet tells what held when the certificate was issued, so that the same certificate is the same
bytes at any time once its issue is sealed in the log; only being replaced or revoked since changes
it. The page tells today's.
"""

from __future__ import annotations

import base64
from pathlib import Path

from django.conf import settings
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from registry.models import Breed, State, Trait
from registry.paper.certificate import PaperPdf, cached_pdf
from registry.paper.content import CertificatePaper, PaperWords, Picture, ReadingRow
from registry.paper.content import Fact as PaperFact
from registry.paper.content import State as PaperState
from registry.queries.breed_counts import BreedCounts
from registry.queries.distributions import distribution
from registry.queries.held_values import held_values
from registry.queries.history import changes_of_evaluation
from registry.queries.public import CertificateRecord, ReadTrait
from registry.queries.public_log import sealed_issue
from registry.queries.within_dogs import within_dogs
from registry.science.numbers import format_number
from registry.telling.credentials import credential_text
from registry.telling.facts import Fact, dog_facts, exam_facts
from registry.telling.meanings import Meaning, Moment, meaning
from registry.wording import dates
from registry.wording.cautions import cautions
from registry.wording.verdicts import replaced, revoked, what_paper_cannot_say

_FONT = "Libertinus Serif"
_SEAL_LETTERS = 16
_PAPER_STATES: dict[State, PaperState] = {
    State.ACCEPTED: "current",
    State.REPLACED: "replaced",
    State.REVOKED: "revoked",
}


def certificate_pdf(record: CertificateRecord) -> PaperPdf:
    """The PDF of a certificate whose readings may be shown, from ``var/paper`` when made before."""
    return cached_pdf(certificate_paper(record), directory=Path(settings.VAR_DIR) / "paper")


def certificate_paper(record: CertificateRecord) -> CertificatePaper:
    """Everything the sheet prints."""
    meanings = _meanings(record)
    first = meanings[0] if meanings else None
    number = format_number(record.number)
    word, lines = _state(record)
    return CertificatePaper(
        language=get_language() or "en",
        title=_("Certificate %(number)s: %(dog)s") % {"number": number, "dog": record.dog.name},
        club_name=settings.CLUB_NAME,
        club_address=settings.SITE_URL.split("://", 1)[1],
        number=number,
        url=f"{settings.SITE_URL}/C/{record.number}",
        state=_PAPER_STATES[record.state],
        state_word=word,
        state_sentence=what_paper_cannot_say() if record.state == State.ACCEPTED else "",
        state_lines=lines,
        dog_name=record.dog.name,
        issued_at=record.issued_at,
        words=_words(),
        dog_facts=_facts(dog_facts(record.dog)[1:]),
        exam_facts=_facts(exam_facts(record)),
        meaning=(first.lead, " ".join(first.sentences)) if first else (),
        pictures=tuple(
            Picture(picture.caption, str(picture.svg), f"{picture.caption}. {first.lead}")
            for picture in first.pictures
        )
        if first
        else (),
        picture_notes=(
            f"{first.now_counted}. {first.circle}. "
            + _("Each dog counts once, with its worse side. Untested dogs may differ."),
        )
        if first and first.pictures
        else (),
        rows=_rows(record, meanings),
        row_notes=tuple(
            f"{each.title}: {' '.join(each.health)}" for each in meanings if each.health
        ),
        cautions=tuple(cautions()),
        issue_lines=(
            _("Issued on %(day)s") % {"day": dates.day(record.issued_at)},
            *([_("Compared as of that day")] if meanings else []),
            *_seal(record),
        ),
        file=credential_text(record).decode(),
        file_words=_("This certificate as a signed file"),
    )


def _meanings(record: CertificateRecord) -> list[Meaning]:
    """What each counted trait meant on the day of issue."""
    counted = [read for read in record.readings if read.trait.is_counted]
    if not counted:
        return []
    breed = Breed.objects.get(pk=record.dog.breed_id)
    traits = Trait.objects.in_bulk([read.trait.pk for read in counted])
    then = {
        pk: distribution(breed=breed, trait=trait, as_of=record.issued_at)
        for pk, trait in traits.items()
    }
    held = held_values([record.evaluation_pk], at=record.issued_at)
    within = within_dogs(at=record.issued_at)
    moment = Moment(record.issued_at, record.issued_at, record.examined_on, record.evaluation_pk)
    return [
        meaning(
            ReadTrait(read.trait, read.steps, counts=read.trait.pk in record.counted_at_issue),
            counts=BreedCounts(
                {read.trait.pk: then[read.trait.pk].histogram},
                then[read.trait.pk].first_month,
                then[read.trait.pk].last_month,
                held,
                within=within,
            ),
            then=None,
            dog=record.dog.short_name,
            moment=moment,
            font=_FONT,
        )
        for read in counted
    ]


def _rows(record: CertificateRecord, meanings: list[Meaning]) -> tuple[ReadingRow, ...]:
    standings = {each.slug: each.now for each in meanings}
    return tuple(
        ReadingRow(
            trait=read.trait.name,
            left=_value(read, "left"),
            right=_value(read, "right"),
            speaks=read.trait.value_text(read.spoken),
            standing=standings.get(read.trait.slug, _("not compared")),
        )
        for read in record.readings
    )


def _value(read: ReadTrait, side: str) -> str:
    return read.trait.value_text(read.steps[side]) if side in read.steps else ""


def _facts(facts: tuple[Fact, ...]) -> tuple[PaperFact, ...]:
    return tuple(PaperFact(fact.term, fact.value) for fact in facts)


def _state(record: CertificateRecord) -> tuple[str, tuple[str, ...]]:
    """The word of the sheet's state, and what happened since the certificate was issued."""
    if record.state == State.ACCEPTED:
        return _("Check this before you trust it"), ()
    if record.state == State.REPLACED:
        verdict = replaced(record.ceased_at, record.reason)
        pattern = (
            _("Corrected certificate: %(number)s")
            if record.is_corrected
            else _("Newer certificate: %(number)s")
        )
        newer = (pattern % {"number": format_number(record.newer)},) if record.newer else ()
        return verdict.word, verdict.lines + newer
    entries = changes_of_evaluation(record.evaluation_id)
    on = next((entry.at for entry in entries if entry.action == "evaluation.revoked"), None)
    verdict = revoked(on, record.reason)
    return verdict.word, verdict.lines


def _seal(record: CertificateRecord) -> tuple[str, ...]:
    """The issue's line in the log and the beginning of the first seal over it, which stays what it
    is: whoever holds the paper can show that the log went on from there."""
    seal = sealed_issue(dog_id=record.dog.public_id, number=record.number)
    if seal is None:
        return ()
    root = base64.b64encode(seal.root).decode()[:_SEAL_LETTERS]
    words = {"entry": f"{seal.entry:,}", "size": f"{seal.size:,}", "seal": root}
    return (_("Line %(entry)s of the log, sealed with %(size)s lines: %(seal)s…") % words,)


def _words() -> PaperWords:
    return PaperWords(
        kind=_("Certificate of an examination"),
        number=_("Certificate number"),
        which_dog=_("Which dog"),
        examination=_("The examination"),
        meaning=_("What it means"),
        readings=_("The readings"),
        trait=_("Looked at"),
        left=_("Left"),
        right=_("Right"),
        speaks=_("Counts"),
        standing=_("Among tested dogs of the breed"),
        cautions=_("Before you decide"),
        check=_("Check it yourself"),
        scan_or_type=_("Scan the code, or type the number yourself on the club's site:"),
        address_must_read=_("The address at the top of the page must read exactly like this."),
        compare=_("Compare chip, sex, colour and date of birth with the real dog."),
        check_again=_("Check again before you buy."),
        qr_alt=_("QR code that opens this certificate on the club's site"),
        missing_letters=_(
            "A letter of a name on this sheet has no printed form here. The club's site shows it."
        ),
    )
