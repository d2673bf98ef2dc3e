"""The drawings: of the kind they say, each of its own, and sound inside."""

import io
import struct
import zlib

import pytest

from registry.demo.pictures import KINDS, Picture, hips
from registry.desk.evidence import content_type_of


@pytest.mark.parametrize(
    ("kind", "content_type"),
    [
        ("jpeg", "image/jpeg"),
        ("png", "image/png"),
        ("pdf", "application/pdf"),
        ("dicom", "application/dicom"),
    ],
)
def test_a_drawing_is_taken_for_what_it_is(kind: str, content_type: str) -> None:
    content = Picture(kind, 1, 0.3, 0.5).content()

    assert content_type_of(content[:132]) == content_type


@pytest.mark.parametrize("kind", KINDS)
def test_two_seeds_give_two_files_and_one_seed_the_same(kind: str) -> None:
    first, again, other = (Picture(kind, seed, 0.3, 0.5).content() for seed in (1, 1, 2))

    assert first == again
    assert first != other


def test_the_png_holds_the_drawn_shades() -> None:
    content = Picture("png", 4, 0.3, 0.5).content()
    file, packed = io.BytesIO(content[8:]), b""
    while head := file.read(8):
        length, kind = struct.unpack(">I4s", head)
        data = file.read(length)
        assert struct.unpack(">I", file.read(4))[0] == zlib.crc32(kind + data)
        packed += data if kind == b"IDAT" else b""
    rows = zlib.decompress(packed)

    shades = hips(0.3, 0.5, 4, width=480, height=360)

    assert b"".join(rows[at + 1 : at + 481] for at in range(0, len(rows), 481)) == shades.tobytes()


def test_the_tables_of_the_pdf_point_at_its_objects() -> None:
    content = Picture("pdf", 4, 0.3, 0.5).content()
    start = int(content.rsplit(b"startxref\n", 1)[1].split(b"\n")[0])
    places = [int(line[:10]) for line in content[start:].split(b"\n")[3:8]]

    assert content[start:].startswith(b"xref\n")
    for number, place in enumerate(places, start=1):
        assert content[place:].startswith(b"%d 0 obj" % number)
