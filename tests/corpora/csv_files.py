"""Sixty pedigree files as spreadsheets, other programs and hurried people make them: each with what
the dry run must say of it.

``new`` are the rows that may become dogs, ``bad`` those that may not, by the number a spreadsheet
shows; a file that cannot be read at all has ``refusal``, words of the answer.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass

HEAD = "name;sex;born_on;chip;sire;dam;key"
ONE = f"{HEAD}\nTarnfold Ada;F;2020-03-01;276098100000011;;;a"


@dataclass(frozen=True)
class Sheet:
    """One file and what is said of it."""

    what: str
    content: bytes
    new: tuple[int, ...] = ()
    bad: tuple[int, ...] = ()
    refusal: str = ""


def sheets(known_chip: str) -> tuple[Sheet, ...]:
    """All of them; ``known_chip`` is that of a dog in the register (F, born 15 January 2023)."""
    return (
        *_encodings(),
        *_layouts(),
        *_heads(),
        *_no_tables(),
        *_chips(known_chip),
        *_days(),
        *_relations(),
        *_names(),
        *_sizes(),
    )


def _row(*cells: str) -> bytes:
    return f"{HEAD}\n{';'.join(cells)}".encode()


def _encodings() -> Iterator[Sheet]:
    named = ONE.replace("Ada", "Žofie Łódź")
    yield Sheet("UTF-8", named.encode(), (2,))
    yield Sheet("UTF-8 with a mark", named.encode("utf-8-sig"), (2,))
    yield Sheet("UTF-16 with a mark", named.encode("utf-16"), (2,))
    yield Sheet("UTF-16, big end first", b"\xfe\xff" + named.encode("utf-16-be"), (2,))
    yield Sheet("UTF-16 without a mark", ONE.encode("utf-16-le"), refusal="no text")
    yield Sheet("Latin-1", ONE.replace("Ada", "Mädi").encode("latin-1"), (2,))
    yield Sheet("Windows-1252", ONE.replace("Ada", "d’Œuvre").encode("cp1252"), (2,))
    yield Sheet("bytes of no alphabet", ONE.encode() + b"\x81\x8d\xff", refusal="cannot be read")
    yield Sheet("half a UTF-16 letter", named.encode("utf-16")[:-1], refusal="cannot be read")


def _layouts() -> Iterator[Sheet]:
    yield Sheet("commas", ONE.replace(";", ",").encode(), (2,))
    yield Sheet("tabs", ONE.replace(";", "\t").encode(), (2,))
    yield Sheet("bars", ONE.replace(";", "|").encode(), refusal="is missing")
    yield Sheet("everything in quotes", ONE.replace(";", '";"').encode(), refusal="is missing")
    quoted = "\n".join(f'"{line}"' for line in ONE.replace(";", '";"').splitlines())
    yield Sheet("every box in quotes", quoted.encode(), (2,))
    yield Sheet(
        "a separator in quotes", ONE.replace("Tarnfold Ada", '"Ada; the 1st"').encode(), (2,)
    )
    yield Sheet(
        "a line break in a box", ONE.replace("Tarnfold Ada", '"Tarnfold\nAda"').encode(), (2,)
    )
    yield Sheet("an open quote", ONE.replace("Tarnfold", '"Tarnfold').encode(), bad=(2,))
    yield Sheet("Windows line ends", ONE.replace("\n", "\r\n").encode(), (2,))
    yield Sheet("old Macintosh line ends", ONE.replace("\n", "\r").encode(), (2,))
    mixed = f"{ONE}\r\nTarnfold Bo;M;2020-03-02;;;;b\nTarnfold Cy;F;2020-03-03;;;;c\r\n"
    yield Sheet("line ends mixed", mixed.encode(), (2, 3, 4))
    yield Sheet("empty lines between", ONE.replace("\n", "\n\n;;;;;;\n").encode(), (4,))
    yield Sheet("cut in the middle of a row", (ONE + "\nTarnfold Bo;M;20").encode(), (2,), (3,))
    yield Sheet("a box too many", (ONE + ";surplus").encode(), bad=(2,))
    yield Sheet("boxes missing at the end", f"{HEAD}\nTarnfold Ada;F;2020-03-01".encode(), (2,))


def _heads() -> Iterator[Sheet]:
    yield Sheet("no head", ONE.split("\n")[1].encode(), refusal="name the columns")
    yield Sheet("only a head", HEAD.encode(), refusal="no row below")
    yield Sheet("a head twice", ONE.replace("name", "name;name", 1).encode(), refusal="twice")
    yield Sheet("another order", b"born_on;chip;name;sex\n2020-03-01;;Tarnfold Ada;F", (2,))
    yield Sheet("a column more", b"name;sex;born_on;shoe size\nTarnfold Ada;F;2020-03-01;7", (2,))
    yield Sheet("a column less", b"name;born_on\nTarnfold Ada;2020-03-01", refusal="sex is missing")
    yield Sheet("capitals in the head", ONE.replace("name;sex", "NAME; Sex ").encode(), (2,))


def _no_tables() -> Iterator[Sheet]:
    yield Sheet("nothing", b"", refusal="name the columns")
    yield Sheet("only a mark", b"\xef\xbb\xbf", refusal="name the columns")
    yield Sheet("NUL", ONE.replace("Ada", "A\x00da").encode(), refusal="NUL")
    yield Sheet("only NUL", bytes(2_000), refusal="NUL")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(10 * 2**20))
    yield Sheet("a bomb called a workbook", packed.getvalue(), refusal="spreadsheet's own file")
    macro = io.BytesIO()
    with zipfile.ZipFile(macro, "w") as archive:
        archive.writestr("xl/vbaProject.bin", b"Sub Auto_Open()")
    yield Sheet("a workbook with macros", macro.getvalue(), refusal="spreadsheet's own file")
    locked = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"E\x00n\x00c\x00r\x00y\x00p\x00t\x00"
    yield Sheet("a workbook with a password", locked, refusal="spreadsheet's own file")
    page = b"<html><table><tr><td>name</td></tr></table></html>"
    yield Sheet("a page called a workbook", page, refusal="is missing")


def _chips(known: str) -> Iterator[Sheet]:
    def chip(what: str, text: str, *, is_good: bool = False) -> Sheet:
        content = _row("Tarnfold Ada", "F", "2020-03-01", text, "", "", "")
        return Sheet(what, content, (2,) if is_good else (), () if is_good else (2,))

    yield chip("a chip that a spreadsheet rounded", "9.85E+14")
    yield chip("the same with a comma", "9,85E+14")
    yield chip("a chip that became a decimal", "276098100000011.0")
    yield chip("a chip that lost its zero", "40098106234567")
    yield chip("a chip with its zero", "040098106234567", is_good=True)
    yield chip("a chip with a letter", "27609810000001O")
    yield chip("a chip of another dog", known)
    twice = f"{ONE}\nTarnfold Bo;M;2020-03-02;276098100000011;;;b"
    yield Sheet("one chip on two rows", twice.encode(), bad=(3,), new=(2,))


def _days() -> Iterator[Sheet]:
    for what, day, is_good in (
        ("the 31st of February", "31.02.2020", False),
        ("the 29th of February of a common year", "2021-02-29", False),
        ("two digits of a year", "01.03.20", False),
        ("month first", "03/01/2020", False),
        ("day.month.year", "1.3.2020", True),
        ("a spreadsheet's count of days", "43891", False),
        ("a day to come", "2099-01-01", False),
        ("digits of another script", "٢٠٢٠-٠٣-٠١", False),
    ):
        content = _row("Tarnfold Ada", "F", day, "", "", "", "")
        yield Sheet(what, content, (2,) if is_good else (), () if is_good else (2,))


def _relations() -> Iterator[Sheet]:
    yield Sheet("a row twice", (ONE + "\n" + ONE.split("\n")[1]).encode(), new=(2,), bad=(3,))
    yield Sheet(
        "a parent nobody knows", _row("Ada", "F", "2020-03-01", "", "nobody", "", ""), bad=(2,)
    )
    yield Sheet("its own parent", _row("Ada", "F", "2020-03-01", "", "", "k", "k"), bad=(2,))
    loop = f"{HEAD}\nAda;F;2020-03-01;;;b;a\nBea;F;2020-03-01;;;a;b"
    yield Sheet("each other's parents", loop.encode(), bad=(2, 3))
    swapped = f"{HEAD}\nRolf;M;2015-03-01;;;;a\nAda;F;2020-03-01;;;a;b"
    yield Sheet("a male as dam", swapped.encode(), new=(2,), bad=(3,))


def _names() -> Iterator[Sheet]:
    for what, name, is_good in (
        ("a formula", "=1+1", True),
        ("a formula that calls out", '=HYPERLINK("http://a.invalid")', True),
        ("a command", "@SUM(1+1)*cmd|' /C calc'!A0", True),
        ("a name that reads backwards", "Tarnfold \u202eada", False),
        ("a name with signs of no width", "Tarn\u200bfold Ada", False),
        ("a name in letters that look alike", "Tаrnfоld Аdа", True),
        ("a page in a name", "<script>alert(1)</script>", True),
        ("an empty name", "", False),
    ):
        content = _row(f'"{name.replace(chr(34), chr(34) * 2)}"', "F", "2020-03-01", "", "", "", "")
        yield Sheet(what, content, (2,) if is_good else (), () if is_good else (2,))


def _sizes() -> Iterator[Sheet]:
    yield Sheet("a box of a megabyte", _row("A" * 2**20, "F", "2020-03-01", "", "", "", ""),
                refusal="taken apart")  # fmt: skip
    yield Sheet("a name of 5,000 letters", _row("A" * 5_000, "F", "2020-03-01", "", "", "", ""),
                bad=(2,))  # fmt: skip
    rows = "\n".join("x;F;2020-03-01" for _ in range(200_000))
    yield Sheet("200,000 rows", f"{HEAD}\n{rows}".encode(), refusal="more than 20,000 rows")
    yield Sheet("eleven megabytes", HEAD.encode() + b"\n" * (11 * 2**20), refusal="larger than 10")
