"""PDFs that somebody might hand in to be checked, by mistake or with bad intent; each with what has
to be said of it.

The files are written by hand, object by object (ISO 32000-1): a library would refuse to write most
of them.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from pypdf import PdfWriter

FILE = b'{"hello": "dog"}'
_HEAD = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"

NONE, LOCKED, SEVERAL, LARGE, DAMAGED, HEAVY = (
    "no certificate file",
    "password",
    "more than one",
    "far larger",
    "damaged",
    "too much to read",
)
TROUBLE = (DAMAGED, HEAVY, NONE, LARGE)
"""For files that only have to be refused: which words come first depends on the library."""


@dataclass(frozen=True)
class Sample:
    """A file, and the words one of which the refusal has; none where its file is handed out."""

    what: str
    content: bytes
    refused_with: tuple[str, ...] = ()


def pdf(*objects: bytes, trailer: bytes = b"") -> bytes:
    """A file of these objects, the first of which is the catalog, with a table that fits."""
    out, places = bytearray(_HEAD), []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % place for place in places)
    end = b"trailer\n<</Size %d/Root 1 0 R%s>>\nstartxref\n%d\n%%%%EOF\n"
    return bytes(out + end % (len(objects) + 1, trailer, start))


def stream(data: bytes, entries: bytes = b"", *, length: bytes = b"") -> bytes:
    """A stream object's body; ``length`` in place of the true one."""
    told = length or b"%d" % len(data)
    return b"<</Length %s%s>>\nstream\n%s\nendstream" % (told, entries, data)


CATALOG = b"<</Type/Catalog/Pages 2 0 R/Names<</EmbeddedFiles 3 0 R>>>>"
PAGES = b"<</Type/Pages/Kids[]/Count 0>>"
SPEC = b"<</Type/Filespec/F(certificate.json)/EF<</F 5 0 R>>>>"


def names(*, tree: bytes = b"<</Names[(certificate.json) 4 0 R]>>") -> tuple[bytes, ...]:
    """Catalog, pages and the tree of attachments; objects 4 and 5 are the file's own."""
    return CATALOG, PAGES, tree


def attaching(file: bytes, *more: bytes, spec: bytes = SPEC, trailer: bytes = b"") -> bytes:
    """A file that carries this stream as its attachment."""
    return pdf(*names(), spec, file, *more, trailer=trailer)


def samples() -> tuple[Sample, ...]:
    """All of them."""
    return (*_sound(), *_wrong(), *_cut(), *_bombs(), *_loops(), *_lies())


def _sound() -> Iterator[Sample]:
    """What another program may have made of a sound file: its attachment is found."""
    plain = attaching(stream(FILE))
    yield Sample("the plainest file", plain)
    yield Sample("a packed attachment", attaching(stream(zlib.compress(FILE), b"/Filter/Fl"
                                                         b"ateDecode")))  # fmt: skip
    yield Sample("blank lines before the mark", b"\n\n" + plain)
    yield Sample("a name that leaves the folder",
                 pdf(*names(tree=b"<</Names[(../../etc/x.json) 4 0 R]>>"), SPEC,
                     stream(FILE)))  # fmt: skip
    yield Sample("a tree with a branch",
                 pdf(*names(tree=b"<</Kids[6 0 R]>>"), SPEC, stream(FILE),
                     b"<</Names[(certificate.json) 4 0 R]/Limits[(a)(z)]>>"))  # fmt: skip
    beside = b"<</Names[(a.png) 4 0 R(certificate.json) 4 0 R]>>"
    yield Sample("a picture beside it", pdf(*names(tree=beside), SPEC, stream(FILE)))
    opens = CATALOG[:-2] + b"/OpenAction<</S/JavaScript/JS(app.alert(1))>>>>"
    yield Sample("a script that wants to start", pdf(opens, *names()[1:], SPEC, stream(FILE)))


def _wrong() -> Iterator[Sample]:
    """What people hand in by mistake."""
    yield Sample("no attachment at all", pdf(b"<</Type/Catalog/Pages 2 0 R>>", PAGES), (NONE,))
    film = b"<</Names[(film.dcm) 4 0 R]>>"
    yield Sample("another attachment", pdf(*names(tree=film), SPEC, stream(FILE)), (NONE,))
    yield Sample("an empty tree", pdf(*names(tree=b"<<>>")), (NONE, DAMAGED))
    two = b"<</Names[(a.json) 4 0 R(b.JSON) 6 0 R]>>"
    yield Sample(
        "two files to choose from", pdf(*names(tree=two), SPEC, stream(FILE), SPEC), (SEVERAL,)
    )
    for word, user in {"to open it": "secret", "to change it": ""}.items():
        yield Sample(f"a password {word}", _locked(user), (LOCKED,))
    yield Sample("an address in place of a file",
                 attaching(stream(FILE), spec=b"<</FS/URL/F(https://x.example/c.json)>>"),
                 TROUBLE)  # fmt: skip
    yield Sample("a picture's packing",
                 attaching(stream(FILE, b"/Filter/JBIG2Decode")), TROUBLE)  # fmt: skip
    yield Sample("an unknown packing", attaching(stream(FILE, b"/Filter/NoSuch")), TROUBLE)


def _locked(user: str) -> bytes:
    writer, out = PdfWriter(), io.BytesIO()
    writer.add_blank_page(200, 200)
    writer.add_attachment("certificate.json", FILE)
    writer.encrypt(user, "owner", algorithm="AES-256")
    writer.write(out)
    return out.getvalue()


def _cut() -> Iterator[Sample]:
    whole = attaching(stream(FILE * 40))
    for part in (0.01, 0.1, 0.3, 0.5):
        yield Sample(f"the first {part:.0%}", whole[: int(len(whole) * part)], TROUBLE)
    yield Sample("the mark alone", _HEAD, TROUBLE)
    yield Sample("only the end", b"%PDF-1.7\n" + whole[-60:], TROUBLE)
    yield Sample("nothing but noise", _HEAD + bytes(range(256)) * 400, TROUBLE)
    yield Sample("a middle of NUL", whole[:200] + bytes(len(whole) - 400) + whole[-200:], TROUBLE)


def _bombs() -> Iterator[Sample]:
    packed = zlib.compress(bytes(100 * 2**20), 9)
    flate = b"/Filter/FlateDecode"
    yield Sample("100 MB of nothing", attaching(stream(packed, flate)), (LARGE, HEAVY, DAMAGED))
    twice = zlib.compress(packed, 9)
    yield Sample("the same, packed twice",
                 attaching(stream(twice, b"/Filter[/FlateDecode/FlateDecode]")),
                 (LARGE, HEAVY, DAMAGED))  # fmt: skip
    runs = b"\x81\x00" * 900_000 + b"\x80"
    yield Sample("115 MB of runs", attaching(stream(runs, b"/Filter/RunLengthDecode")),
                 (LARGE, HEAVY, DAMAGED))  # fmt: skip
    wide = flate + b"/DecodeParms<</Predictor 12/Columns 2147483647/Colors 32/BitsPerComponent 16>>"
    yield Sample("rows of a terabyte", attaching(stream(zlib.compress(FILE), wide)), TROUBLE)
    table = b"/Type/XRef/W[1 4 2]/Root 1 0 R/Size 100000000/Filter/FlateDecode"
    end = b"\nendobj\nstartxref\n%d\n%%%%EOF\n" % len(_HEAD)
    body = _HEAD + b"1 0 obj\n" + stream(packed, table) + end
    yield Sample("a packed table of 100 MB", body, TROUBLE)
    yield Sample("a thousand packings", attaching(stream(FILE, b"/Filter[" + b"/ASCIIHexDecode"
                                                         * 1000 + b"]")), TROUBLE)  # fmt: skip
    large = stream(b'"' + b"x" * 100_000 + b'"')
    yield Sample("an attachment of 100 kB", attaching(large), (LARGE,))


def _loops() -> Iterator[Sample]:
    file = (SPEC, stream(FILE))
    yield Sample("a tree in itself", pdf(*names(tree=b"<</Kids[3 0 R]>>"), *file), TROUBLE)
    yield Sample("two branches in each other",
                 pdf(*names(tree=b"<</Kids[6 0 R 6 0 R]>>"), *file, b"<</Kids[7 0 R 7 0 R]>>",
                     b"<</Kids[6 0 R 6 0 R]>>"), TROUBLE)  # fmt: skip
    doubling = [b"<</Kids[%d 0 R %d 0 R]>>" % (at, at) for at in range(7, 67)]
    leaf = b"<</Names[(a.png) 4 0 R]>>"
    yield Sample("a tree of 2^60 leaves",
                 pdf(*names(tree=b"<</Kids[6 0 R]>>"), *file, *doubling, leaf),
                 TROUBLE)  # fmt: skip
    deep = [b"<</Kids[%d 0 R]>>" % at for at in range(7, 20_007)]
    yield Sample("a tree 20,000 deep",
                 pdf(*names(tree=b"<</Kids[6 0 R]>>"), *file, *deep, leaf), TROUBLE)  # fmt: skip
    yield Sample("a file that is its own description",
                 pdf(*names(tree=b"<</Names[(a.json) 4 0 R]>>"), b"<</F(a.json)/EF 4 0 R>>"),
                 TROUBLE)  # fmt: skip
    yield Sample("a reference to itself", pdf(*names(), b"4 0 R"), TROUBLE)
    yield Sample("a length that asks for itself",
                 attaching(stream(FILE, length=b"5 0 R")), (*TROUBLE,))  # fmt: skip
    yield Sample("a catalog that is a reference to itself", pdf(b"1 0 R", PAGES), TROUBLE)
    plain = attaching(stream(FILE))
    start = plain.rindex(b"startxref\n") + 10
    at = int(plain[start : plain.index(b"\n", start)])
    again = attaching(stream(FILE), trailer=b"/Prev %d" % at)
    yield Sample("a table that comes before itself", again, (*TROUBLE, ""))
    yield Sample("a filter that asks for itself",
                 attaching(stream(FILE, b"/Filter 6 0 R"), b"6 0 R"), TROUBLE)  # fmt: skip


def _lies() -> Iterator[Sample]:
    yield Sample("a negative length", attaching(stream(FILE, length=b"-5")), (*TROUBLE, ""))
    yield Sample("a length of a terabyte",
                 attaching(stream(FILE, length=b"1000000000000")), (*TROUBLE, ""))  # fmt: skip
    yield Sample("a million objects declared",
                 attaching(stream(FILE)).replace(b"xref\n0 6", b"xref\n0 9999999"),
                 (*TROUBLE, ""))  # fmt: skip
    brackets = b"[" * 500_000
    yield Sample("half a million brackets", pdf(*names(tree=brackets)), TROUBLE)
    yield Sample("half a million names in names", pdf(*names(tree=b"<</A" * 400_000)), TROUBLE)
    words = b"(" * 900_000
    yield Sample("a text that never ends", pdf(*names(tree=b"<</Names[" + words)), TROUBLE)
    many = b"".join(b"%d 0 obj\n<<>>\nendobj\n" % at for at in range(1, 60_000))
    yield Sample("60,000 objects without a table", _HEAD + many, TROUBLE)
    digits = b"<</Names[(c.json) " + b"9" * 900_000 + b" 0 R]>>"
    yield Sample("a number of 900,000 digits", pdf(*names(tree=digits)), TROUBLE)
    yield Sample("a table at the end of the world",
                 _HEAD + b"startxref\n99999999999999\n%%EOF\n", TROUBLE)  # fmt: skip
