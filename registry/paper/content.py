"""What a certificate on paper says: plain values, already worded and translated.

Whoever fills these decides every word and number that is printed. Nothing is
computed, shortened or translated after this point.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

State = Literal["current", "replaced", "revoked"]


@dataclass(frozen=True)
class Fact:
    """One fact with its label, for example "Born" and "2 May 2024"."""

    label: str
    value: str


@dataclass(frozen=True)
class Picture:
    """One drawing: a stand-alone SVG, its heading, and what it shows in words."""

    heading: str
    svg: str
    alt: str


@dataclass(frozen=True)
class ReadingRow:
    """One line of the table of readings; a cell without a value prints a dash."""

    trait: str
    left: str = ""
    right: str = ""
    speaks: str = ""
    standing: str = ""


@dataclass(frozen=True)
class PaperWords:
    """Headings and fixed phrases of the sheet, in the sheet's language."""

    kind: str
    number: str
    which_dog: str
    examination: str
    meaning: str
    readings: str
    trait: str
    left: str
    right: str
    speaks: str
    standing: str
    cautions: str
    check: str
    scan_or_type: str
    address_must_read: str
    compare: str
    check_again: str
    qr_alt: str
    missing_letters: str


@dataclass(frozen=True)
class CertificatePaper:
    """Everything one sheet prints.

    ``club_address`` is the site's address as people type it. ``url`` is the
    address of the certificate's page, for the QR code. ``state_lines`` tell what
    happened to a replaced or revoked certificate: when, why, which number holds
    now. ``file`` is the certificate as signed JSON, which the PDF carries, and
    ``file_words`` say so. ``issued_at`` is aware and dates the file itself, so that the same sheet
    is always the same bytes.
    """

    language: str
    title: str
    club_name: str
    club_address: str
    number: str
    url: str
    state: State
    state_word: str
    state_sentence: str
    dog_name: str
    issued_at: datetime
    words: PaperWords
    state_lines: tuple[str, ...] = ()
    dog_facts: tuple[Fact, ...] = ()
    exam_facts: tuple[Fact, ...] = ()
    meaning: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    picture_notes: tuple[str, ...] = ()
    rows: tuple[ReadingRow, ...] = ()
    row_notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    issue_lines: tuple[str, ...] = ()
    file: str = ""
    file_words: str = ""
