"""Eighty files a clinic might send, or somebody who means harm: each with what must become of it.

The registry keeps a file by its first bytes, never opens it and hands it out as a download. So a
file that begins as a picture is taken even if a page or an archive hangs behind it; one that would
run or render as something else at its first byte is not.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"
PDF = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"
HTML = b"<!doctype html><script>alert(1)</script>"
_ZIP = b"PK\x03\x04\x14\x00\x00\x00"
# The EICAR test string, in two halves so that no scanner takes this file for it.
_EICAR = rb"X5O!P%@AP[4\PZX54(P^)7CC)7}$EICAR-STANDARD" + rb"-ANTIVIRUS-TEST-FILE!$H+H*"
_UIDS = {
    "implicit little endian": "1.2.840.10008.1.2",
    "explicit little endian": "1.2.840.10008.1.2.1",
    "deflated": "1.2.840.10008.1.2.1.99",
    "explicit big endian": "1.2.840.10008.1.2.2",
    "JPEG baseline": "1.2.840.10008.1.2.4.50",
    "JPEG lossless": "1.2.840.10008.1.2.4.70",
    "JPEG 2000": "1.2.840.10008.1.2.4.90",
    "RLE": "1.2.840.10008.1.2.5",
}
"""Transfer syntaxes, DICOM PS3.6 annex A."""


@dataclass(frozen=True)
class Sample:
    """One file: its bytes, its name, and the type it is kept as (None: it is refused)."""

    what: str
    content: bytes
    name: str = "hips.jpg"
    kept_as: str | None = None


def element(group: int, number: int, kind: bytes, value: bytes) -> bytes:
    """One data element, explicit little endian (DICOM PS3.5 section 7.1.2)."""
    value += b"\x00" * (len(value) % 2)
    head = struct.pack("<HH", group, number) + kind
    if kind in {b"OB", b"OW", b"SQ", b"UN", b"UT"}:
        return head + struct.pack("<HI", 0, len(value)) + value
    return head + struct.pack("<H", len(value)) + value


def dicom(*more: bytes, syntax: str = "1.2.840.10008.1.2.1", preamble: bytes = bytes(128)) -> bytes:
    """A file of part 10: preamble, mark, meta group, then whatever is given."""
    meta = element(2, 0x0010, b"UI", syntax.encode())
    length = element(2, 0, b"UL", struct.pack("<I", len(meta)))
    return preamble + b"DICM" + length + meta + b"".join(more)


def png(*, width: int = 1, height: int = 1, tail: bytes = b"") -> bytes:
    """A picture of that many pixels, of which only the first line is there."""
    chunks = [
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)),
        (b"IDAT", zlib.compress(b"\x00\x7f")),
        (b"IEND", b""),
    ]
    packed = b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + packed + tail


def samples() -> tuple[Sample, ...]:
    """All of them."""
    return (*_dicoms(), *_truncated(), *_posing(), *_pictures(), *_papers(), *_names())


def _dicoms() -> Iterator[Sample]:
    kept = "application/dicom"
    rows, columns = ((0x28, 0x10), (0x28, 0x11))
    for name, uid in _UIDS.items():
        yield Sample(f"DICOM, {name}", dicom(syntax=uid), "film.dcm", kept)
    large = [element(*tag, b"US", b"\xff\xff") for tag in (rows, columns)]
    yield Sample("65,535 rows and columns", dicom(*large), "film.dcm", kept)
    nested = struct.pack("<HH2sHI", 0x8, 0x1140, b"SQ", 0, 0xFFFFFFFF) * 10_000
    yield Sample("10,000 sequences in each other", dicom(nested), "film.dcm", kept)
    endless = struct.pack("<HH2sHI", 0x7FE0, 0x10, b"OB", 0, 0xFFFFFFFF)
    yield Sample("a length without end", dicom(endless), "film.dcm", kept)
    yield Sample("a kind of value there is not", dicom(b"\x10\x00\x10\x00ZZ\x02\x00xx"), "f", kept)
    private = struct.pack("<HH2sHI", 0x9, 0x10, b"UN", 0, 500 * 2**20)
    yield Sample("a private element of 500 MB, cut", dicom(private), "film.dcm", kept)
    folder = element(4, 0x1500, b"CS", rb"..\..\..\ETC\PASSWD")
    yield Sample("DICOMDIR that points outside", dicom(folder), "DICOMDIR", kept)
    bomb = zlib.compress(bytes(2**20), 9)
    yield Sample("a deflated bomb", dicom(bomb, syntax=_UIDS["deflated"]), "film.dcm", kept)
    frames = element(0x28, 0x8, b"IS", b"100")
    yield Sample("100 frames", dicom(frames), "film.dcm", kept)
    two = [element(0x10, 0x20, b"LO", chip) for chip in (b"276098100000001", b"276098100000002")]
    yield Sample("two dogs' chips in one film", dicom(*two), "film.dcm", kept)
    tiff = b"II*\x00".ljust(128, b"\x00")
    yield Sample("a TIFF head in the preamble", dicom(preamble=tiff), "film.dcm", kept)


def _truncated() -> Iterator[Sample]:
    whole = dicom(element(0x10, 0x20, b"LO", b"276098100000001"))
    for at in (1, 16, 64, 127, 128, 129, 130, 131, 132, 133, 140, 150, len(whole) - 1):
        kept = "application/dicom" if at >= 132 else None
        yield Sample(f"a film cut after {at} bytes", whole[:at], "film.dcm", kept)


def _posing() -> Iterator[Sample]:
    """What runs or renders by itself, plain and in a film's free first 128 bytes."""
    heads = {
        "a Windows program": b"MZ\x90\x00",
        "a Linux program": b"\x7fELF\x02\x01\x01",
        "an archive": _ZIP,
        "a page": HTML,
        "a drawing": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
        "a page in capitals": b"<HTML><BODY ONLOAD=alert(1)>",
        "a document type": b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY x SYSTEM "file:///">]>',
    }
    for name, head in heads.items():
        yield Sample(f"{name} called a picture", head + bytes(200))
        yield Sample(f"{name} in a film's preamble", dicom(preamble=head.ljust(128, b"\x00")), "a")
    yield Sample("a script", b"#!/bin/sh\nrm -rf /\n", "hips.jpg")
    yield Sample("GIF", b"GIF89a" + bytes(40), "hips.gif")
    yield Sample("GIF with an archive behind", b"GIF89a" + _ZIP, "hips.gif")
    yield Sample("TIFF", b"II*\x00" + bytes(40), "hips.tif")
    yield Sample("WebP", b"RIFF\x24\x00\x00\x00WEBPVP8 ", "hips.webp")
    yield Sample("HEIC", b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00", "hips.heic")
    yield Sample("the test string of virus scanners", _EICAR, "hips.jpg")
    yield Sample("only NUL", bytes(4096))
    yield Sample("an old office document", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(99), "a.pdf")
    yield Sample("a gzip", b"\x1f\x8b\x08\x00" + bytes(20), "film.dcm.gz")
    yield Sample("blank before a PDF", b" " + PDF, "a.pdf")
    yield Sample("a byte order mark before a PDF", b"\xef\xbb\xbf" + PDF, "a.pdf")
    yield Sample("empty", b"")
    yield Sample("two bytes of a JPEG", JPEG[:2])
    yield Sample("seven bytes of a PNG", png()[:7], "hips.png")


def _pictures() -> Iterator[Sample]:
    kept = "image/png"
    yield Sample("a picture of 50,000 by 50,000", png(width=50_000, height=50_000), "h.png", kept)
    yield Sample("a picture with a page behind", png(tail=HTML), "hips.png", kept)
    yield Sample("a picture with an archive behind", JPEG + _ZIP, "hips.jpg", "image/jpeg")
    place = JPEG[:2] + b"\xff\xe1\x00\x20Exif\x00\x00GPSLatitude 48.2"
    yield Sample("a picture that tells its place", place, "hips.jpg", "image/jpeg")
    remark = JPEG + b"\xff\xfe\x00\x28" + HTML[:36]
    yield Sample("a page in a picture's remark", remark, "hips.jpg", "image/jpeg")
    yield Sample("a picture called a page", JPEG, "hips.html", "image/jpeg")


def _papers() -> Iterator[Sample]:
    for what, body in {
        "a script": b"1 0 obj<</OpenAction<</S/JavaScript/JS(app.alert(1))>>>>endobj",
        "a program to start": b"1 0 obj<</OpenAction<</S/Launch/F(cmd.exe)>>>>endobj",
        "a file inside": b"1 0 obj<</Type/EmbeddedFile/Length 2>>stream\nMZ\nendstream endobj",
        "a password": b"trailer<</Encrypt 2 0 R>>",
    }.items():
        yield Sample(f"PDF with {what}", PDF + body, "report.pdf", "application/pdf")


def _names() -> Iterator[Sample]:
    for what, name in {
        "a name of 300 letters": "h" * 300 + ".jpg",
        "a name with NUL": "hi\x00ps.jpg",
        "a name that leaves the folder": "../../../../etc/passwd",
        "a name that leaves it the other way": r"..\..\windows\system.ini",
        "a whole path": "/etc/cron.d/hips",
        "a name with a line break": "hips\r\nSet-Cookie: a=b.jpg",
        "a name that reads backwards": "hips\u202egpj.exe",
        "two endings": "hips.jpg.php",
        "no name": "",
        "only dots": "..",
        "quotes": 'hips".jpg; filename="a.html',
        "a name in another script": "бедро é 股関節.jpg",
    }.items():
        yield Sample(what, JPEG + what.encode(), name, "image/jpeg")
