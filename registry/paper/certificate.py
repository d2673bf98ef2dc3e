"""From the words of a certificate to its PDF, and a store of PDFs already made.

The PDF is archival (PDF/A-3a, which may carry the signed file along) and
accessible (PDF/UA-1) unless a letter of a name is in none of the fonts, which
those standards forbid: then the sheet is made without them, says so in print
and in the answer, and is never refused.
"""

import contextlib
import hashlib
import json
import logging
import os
import re
import tempfile
import threading
import unicodedata
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import typst

from registry.paper.content import CertificatePaper
from registry.paper.qr import QUIET_MODULES, qr_code, qr_svg

logger = logging.getLogger(__name__)

_TEMPLATE = Path(__file__).with_name("certificate.typ")

_STANDARDS: list[Any] = ["a-3a", "ua-1"]
_SCALES = (1.0, 0.95, 0.9, 0.85, 0.8)
"""Sizes of type to try until all is on one page; the last still prints at 7 pt."""
_PAGE = re.compile(rb"/Type\s*/Page\b")
_COMPILING = threading.Lock()
_CONFORMANT, _PLAIN = ".a3a-ua1.pdf", ".plain.pdf"

_Json = Any


@dataclass(frozen=True)
class PaperPdf:
    """One PDF, and whether it claims PDF/A-3a and PDF/UA-1."""

    data: bytes
    is_conformant: bool


def certificate_pdf(paper: CertificatePaper, *, font_paths: Sequence[Path] = ()) -> PaperPdf:
    """Set the certificate in type; the same words give the same bytes anywhere.

    Only the fonts built into the typesetter are used, and those in
    ``font_paths``: what the machine happens to have installed would change the
    result. A name with a letter in none of them gives ``is_conformant=False``
    and a printed remark.
    """
    content = _content(paper)
    try:
        return PaperPdf(_compile(paper, content, font_paths, _STANDARDS), is_conformant=True)
    except typst.TypstError as error:
        logger.warning("certificate %s cannot be PDF/A and PDF/UA: %s", paper.number, error)
    content["missing_letters"] = paper.words.missing_letters
    return PaperPdf(_compile(paper, content, font_paths, []), is_conformant=False)


def content_key(paper: CertificatePaper, *, font_paths: Sequence[Path] = ()) -> str:
    """Return a name for the PDF of this content: SHA-256 over all it depends on."""
    digest = hashlib.sha256(_making())
    digest.update("\n".join(str(path) for path in font_paths).encode())
    digest.update(json.dumps(asdict(paper), sort_keys=True, default=str).encode())
    return digest.hexdigest()


def cached_pdf(
    paper: CertificatePaper, *, directory: Path, font_paths: Sequence[Path] = ()
) -> PaperPdf:
    """Return the certificate's PDF, from ``directory`` if it was made before.

    The file's name is the hash of its content, so an entry is never out of date
    and may be deleted at any time. A directory that cannot be written costs
    time, never the answer.
    """
    key = content_key(paper, font_paths=font_paths)
    for suffix in (_CONFORMANT, _PLAIN):
        with contextlib.suppress(OSError):
            data = (directory / f"{key}{suffix}").read_bytes()
            return PaperPdf(data, is_conformant=suffix == _CONFORMANT)
    made = certificate_pdf(paper, font_paths=font_paths)
    suffix = _CONFORMANT if made.is_conformant else _PLAIN
    try:
        _write_whole(directory / f"{key}{suffix}", made.data)
    except OSError as error:
        logger.warning("the PDF of certificate %s could not be kept: %s", paper.number, error)
    return made


def _content(paper: CertificatePaper) -> dict[str, _Json]:
    """Return what the template reads."""
    content = _clean(asdict(paper))
    assert isinstance(content, dict)  # noqa: S101 - a dataclass becomes a dict
    # The file is not printed; one changed letter would break its signature.
    content["file"] = paper.file
    code = qr_code(paper.url)
    content["qr"] = {"svg": qr_svg(code, title=""), "width_mm": code.width_mm}
    content["qr"]["quiet_mm"] = QUIET_MODULES * code.module_mm
    content["missing_letters"] = None
    return content


def _clean(value: object) -> _Json:
    """Return a value fit for JSON and print, its text in composed form (NFC).

    Control characters have no shape, and those that turn the direction of
    writing can make a name read as another one: both become a space.
    """
    if isinstance(value, dict):
        return {str(key): _clean(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_clean(part) for part in value]
    if isinstance(value, str):
        text = value if value.isprintable() else "".join(map(_printable, value))
        return unicodedata.normalize("NFC", text)
    return str(value)


def _printable(letter: str) -> str:
    category = unicodedata.category(letter)
    is_joiner = letter in "\u200c\u200d"
    return " " if category in {"Cc", "Cs", "Cn"} or (category == "Cf" and not is_joiner) else letter


def _compile(
    paper: CertificatePaper,
    content: dict[str, _Json],
    font_paths: Sequence[Path],
    standards: list[Any],
) -> bytes:
    """Set the sheet in the largest type that leaves it on one page.

    Trying is cheaper than measuring first: nearly all sheets fit at once.
    """
    inputs = {"paper": json.dumps(content)}
    pdf = b""
    for scale in _SCALES:
        # One thread at a time: two at once gain nothing.
        with _COMPILING:
            made = _compiler(tuple(font_paths)).compile(
                format="pdf",
                sys_inputs=inputs | {"scale": str(scale)},
                pdf_standards=standards,
                timestamp=int(paper.issued_at.timestamp()),
            )
        assert isinstance(made, bytes)  # noqa: S101 - one output file, not a list of pages
        pdf = made
        if len(_PAGE.findall(pdf)) <= 1:
            break
    return pdf


@cache
def _compiler(font_paths: tuple[Path, ...]) -> typst.Compiler:
    """Return the process's typesetter; a used one is several times faster than a new one."""
    return typst.Compiler(
        str(_TEMPLATE),
        root=str(_TEMPLATE.parent),
        font_paths=[str(path) for path in font_paths],
        ignore_system_fonts=True,
    )


@cache
def _making() -> bytes:
    """Return what else decides the bytes: template, code and typesetter version."""
    sources = (_TEMPLATE, Path(__file__), Path(__file__).with_name("qr.py"))
    return b"\0".join([version("typst").encode(), *(path.read_bytes() for path in sources)])


def _write_whole(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees all of it or none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".making-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).replace(path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
