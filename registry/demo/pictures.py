"""Drawings that stand in for radiographs: small, valid JPEG, PNG, PDF and DICOM files made by code.

They show two sockets and two heads, apart by the index, and say in themselves that they are
drawings. No picture of a real animal is used. Bytes come out, nothing is written here; every seed
gives other bytes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

NOTE = "A drawing made by a program for a trial register. Not a radiograph of any animal."

Shades = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Picture:
    """Which file to make: ``kind`` is jpeg, png, pdf or dicom."""

    kind: str
    seed: int
    left: float
    right: float

    @property
    def name(self) -> str:
        """A name as a clinic's machine would give."""
        ending = {"jpeg": "jpg", "dicom": "dcm"}.get(self.kind, self.kind)
        return f"film-{self.seed:06d}.{ending}"

    def content(self) -> bytes:
        """The file."""
        return _MAKERS[self.kind](self)


def hips(left: float, right: float, seed: int, *, width: int, height: int) -> Shades:
    """Shades of grey, shape (height, width): both joints, heads off their sockets.

    The dog's left hip is drawn on the right, as on a film of a dog on its back.
    """
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width].astype(float)
    shade = 40 + 30 * y / height
    radius = width * 0.1
    for centre_x, outward, index in ((width * 0.3, -1, right), (width * 0.7, 1, left)):
        centre_y = height * 0.45
        socket = np.hypot(x - centre_x, y - centre_y)
        shade = np.where(socket < radius * 1.25, 120.0, shade)
        head_x, head_y = centre_x + outward * index * radius * 0.8, centre_y + index * radius * 0.6
        head = np.hypot(x - head_x, y - head_y)
        neck = (np.abs(x - head_x - outward * (y - head_y) * 0.5) < radius * 0.45) & (y > head_y)
        shade = np.where((head < radius) | neck, 205.0, shade)
    # A pattern of its own for each file, so that no two have the same bytes.
    ticks = rng.integers(0, 2, width)
    shade[-4:, :] = np.where(ticks, 230, 20)
    shades: Shades = np.clip(shade, 0, 255).astype(np.uint8)
    return shades


def png(picture: Picture) -> bytes:
    """A PNG with a text chunk (W3C PNG Recommendation, third edition)."""
    shades = hips(picture.left, picture.right, picture.seed, width=480, height=360)
    height, width = shades.shape
    rows = b"".join(b"\x00" + row.tobytes() for row in shades)
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunks = (
        (b"IHDR", header),
        (b"tEXt", b"Comment\x00" + NOTE.encode("latin-1")),
        (b"IDAT", zlib.compress(rows, 9)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )


def jpeg(picture: Picture) -> bytes:
    """A baseline JPEG (ITU-T T.81) whose every 8 x 8 block has one shade."""
    shades = hips(picture.left, picture.right, picture.seed, width=96, height=72)
    height, width = shades.shape

    def segment(marker: int, data: bytes) -> bytes:
        return struct.pack(">BBH", 0xFF, marker, len(data) + 2) + data

    # Quantiser 8 for the mean: a block of shade s has the coefficient 8 (s - 128), so s - 128 is
    # coded.
    quantiser = b"\x00" + bytes([8] + [1] * 63)
    frame = struct.pack(">BHHBBBB", 8, height * 8, width * 8, 1, 1, 0x11, 0)
    # Differences need 0 to 9 bits: ten codes of four bits. After each the one-bit code for "rest is
    # zero".
    differences = bytes([0x00, 0, 0, 0, 10, *[0] * 12, *range(10)])
    rest = bytes([0x10, 1, *[0] * 15, 0x00])
    scan = bytes([1, 1, 0x00, 0, 63, 0])
    return b"".join(
        (
            b"\xff\xd8",
            segment(0xE0, b"JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"),
            segment(0xFE, NOTE.encode("latin-1")),
            segment(0xDB, quantiser),
            segment(0xC0, frame),
            segment(0xC4, differences),
            segment(0xC4, rest),
            segment(0xDA, scan),
            _coded(shades),
            b"\xff\xd9",
        )
    )


def dicom(picture: Picture) -> bytes:
    """A secondary capture, explicit VR little endian (DICOM PS3.5 and PS3.10)."""
    shades = hips(picture.left, picture.right, picture.seed, width=160, height=120)
    height, width = shades.shape
    capture = "1.2.840.10008.5.1.4.1.1.7"
    # 2.25 is the root for identifiers made from a number of one's own (PS3.5, B.2).
    own = f"2.25.{334_000_000_000 + picture.seed}"
    meta = b"".join(
        (
            _element(0x0002, 0x0001, "OB", b"\x00\x01"),
            _element(0x0002, 0x0002, "UI", capture),
            _element(0x0002, 0x0003, "UI", own),
            _element(0x0002, 0x0010, "UI", "1.2.840.10008.1.2.1"),
            _element(0x0002, 0x0012, "UI", "2.25.334"),
        )
    )
    body = b"".join(
        (
            _element(0x0008, 0x0016, "UI", capture),
            _element(0x0008, 0x0018, "UI", own),
            _element(0x0008, 0x0060, "CS", "OT"),
            _element(0x0008, 0x0064, "CS", "SYN"),
            _element(0x0010, 0x0010, "PN", ""),
            _element(0x0020, 0x000D, "UI", f"{own}.1"),
            _element(0x0020, 0x000E, "UI", f"{own}.2"),
            _element(0x0020, 0x4000, "LT", NOTE),
            _element(0x0028, 0x0002, "US", struct.pack("<H", 1)),
            _element(0x0028, 0x0004, "CS", "MONOCHROME2"),
            _element(0x0028, 0x0010, "US", struct.pack("<H", height)),
            _element(0x0028, 0x0011, "US", struct.pack("<H", width)),
            _element(0x0028, 0x0100, "US", struct.pack("<H", 8)),
            _element(0x0028, 0x0101, "US", struct.pack("<H", 8)),
            _element(0x0028, 0x0102, "US", struct.pack("<H", 7)),
            _element(0x0028, 0x0103, "US", struct.pack("<H", 0)),
            _element(0x7FE0, 0x0010, "OB", shades.tobytes()),
        )
    )
    length = _element(0x0002, 0x0000, "UL", struct.pack("<I", len(meta)))
    return b"\x00" * 128 + b"DICM" + length + meta + body


def pdf(picture: Picture) -> bytes:
    """A one-page PDF of text in a standard font (ISO 32000-1, 7.5 and 9.6.2.2)."""
    lines = (
        "Report on an examination of the hips",
        f"Film {picture.seed:06d}",
        f"Laxity as measured: left {picture.left:.2f}, right {picture.right:.2f}",
        NOTE,
    )
    text = " T* ".join(f"({line}) Tj" for line in lines)
    stream = f"BT /F1 12 Tf 16 TL 72 770 Td {text} ET".encode("latin-1")
    objects = (
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        (
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R"
            b" /Resources << /Font << /F1 5 0 R >> >> >>"
        ),
        b"<< /Length %d >>\nstream\n%b\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    )
    file, places = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, start=1):
        places.append(len(file))
        file += b"%d 0 obj\n%b\nendobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    count = len(objects) + 1
    file_end = b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (count, len(file))
    return file + b"xref\n0 %d\n0000000000 65535 f \n" % count + table + file_end


_MAKERS: dict[str, Callable[[Picture], bytes]] = {
    "jpeg": jpeg,
    "png": png,
    "dicom": dicom,
    "pdf": pdf,
}
KINDS = tuple(_MAKERS)


def _coded(shades: Shades) -> bytes:
    """The entropy-coded scan: each block's difference from the one before, then "rest is zero"."""
    levels = shades.astype(int).ravel() - 128
    bits: list[str] = []
    for difference in np.diff(levels, prepend=0):
        size = int(abs(difference)).bit_length()
        # A negative difference is coded as its value less one, in so many bits (T.81, F.1.2.1).
        value = int(difference) if difference >= 0 else int(difference) + (1 << size) - 1
        bits.append(f"{size:04b}" + (f"{value:0{size}b}" if size else "") + "0")
    stream = "".join(bits)
    stream += "1" * (-len(stream) % 8)
    coded = int(stream, 2).to_bytes(len(stream) // 8, "big")
    return coded.replace(b"\xff", b"\xff\x00")


def _element(group: int, number: int, representation: str, value: bytes | str) -> bytes:
    """One data element; values have an even length (PS3.5, 7.1.2)."""
    raw = value.encode("ascii") if isinstance(value, str) else value
    if len(raw) % 2:
        raw += b"\x00" if representation in ("UI", "OB") else b" "
    head = struct.pack("<HH2s", group, number, representation.encode())
    if representation == "OB":
        return head + struct.pack("<HI", 0, len(raw)) + raw
    return head + struct.pack("<H", len(raw)) + raw
