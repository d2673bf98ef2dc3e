"""Where an archive's members lie: in one zip file, or in a folder. Both are written and read the
same way, and every byte that goes out is counted and hashed on its way."""

from __future__ import annotations

import hashlib
import os
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Protocol

MANIFEST = "manifest.json"
MANIFEST_HASH = "manifest.sha256"
_READ_BYTES = 1 << 20
# What a damaged zip file makes the standard library raise.
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError)
# The same content gives the same zip file; when it was made stands in the manifest.
_NO_DATE = (1980, 1, 1, 0, 0, 0)


class DamagedArchiveError(Exception):
    """An archive that must not be put back; names the member and says what is wrong with it."""

    def __init__(self, member: str, why: str) -> None:
        super().__init__(f"{member}: {why}")
        self.member = member


@dataclass(frozen=True, slots=True)
class Member:
    """One file of an archive; ``rows`` is -1 for what is no table."""

    name: str
    bytes: int
    sha256: str
    rows: int = -1


class Sink(Protocol):
    """What takes an archive's members."""

    def open(self, name: str) -> IO[bytes]:
        """A new member to write to."""


class ZipSink:
    """Members of a zip file. Pictures do not shrink, so evidence is stored as it is."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def open(self, name: str) -> IO[bytes]:
        """A new member to write to."""
        info = zipfile.ZipInfo(name, _NO_DATE)
        is_evidence = name.startswith("evidence/")
        info.compress_type = zipfile.ZIP_STORED if is_evidence else zipfile.ZIP_DEFLATED
        info.external_attr = 0o600 << 16
        return self._archive.open(info, "w", force_zip64=True)


class FolderSink:
    """Members as files of a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def open(self, name: str) -> IO[bytes]:
        """A new member to write to."""
        path = self._folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb")


class NoSink:
    """Nothing is kept: for the hash of what an archive would hold."""

    def open(self, name: str) -> IO[bytes]:
        """A member that goes nowhere."""
        return Path(os.devnull).open("wb")


class Out:
    """A member being written, with the hash of what went in."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self.digest = hashlib.sha256()
        self.bytes = 0
        self.rows = -1

    def write(self, data: bytes) -> None:
        """Write on."""
        self._file.write(data)
        self.digest.update(data)
        self.bytes += len(data)


class Recorder:
    """Writes members into a sink and remembers each one's size and hash."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self.members: list[Member] = []

    @contextmanager
    def member(self, name: str) -> Iterator[Out]:
        """Write one member."""
        with self._sink.open(name) as file:
            out = Out(file)
            yield out
        self.members.append(Member(name, out.bytes, out.digest.hexdigest(), out.rows))

    def text(self, name: str, content: str) -> None:
        """Write one member whose text is at hand."""
        with self.member(name) as out:
            out.write(content.encode())


class Source(Protocol):
    """What an archive's members are read from."""

    def names(self) -> list[str]:
        """Every member there is, in no order; twice when it is there twice."""

    def open(self, name: str) -> Iterator[bytes]:
        """The member's bytes, a piece at a time; raises DamagedArchiveError."""


class ZipSource:
    """A zip file; opening it raises DamagedArchiveError when its list of contents is gone.

    ``file`` is what is read in its place, when it has to be decrypted first.
    """

    def __init__(self, path: Path, file: IO[bytes] | None = None) -> None:
        try:
            self._archive = zipfile.ZipFile(file or path)
        except FileNotFoundError:
            raise
        except _DAMAGE as error:
            raise DamagedArchiveError(
                path.name, "this is no zip file, or its end is missing. Take another copy."
            ) from error

    def names(self) -> list[str]:
        """Every member there is."""
        return self._archive.namelist()

    def open(self, name: str) -> Iterator[bytes]:
        """The member's bytes, a piece at a time."""
        try:
            with self._archive.open(name) as file:
                while piece := file.read(_READ_BYTES):
                    yield piece
        except (*_DAMAGE, KeyError) as error:
            raise DamagedArchiveError(name, "it cannot be read whole") from error


class FolderSource:
    """A folder; a link in it is no member."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> list[str]:
        """Every file there is."""
        return [
            path.relative_to(self._folder).as_posix()
            for path in self._folder.rglob("*")
            if path.is_file() or path.is_symlink()
        ]

    def open(self, name: str) -> Iterator[bytes]:
        """The file's bytes, a piece at a time."""
        path = self._folder / name
        try:
            if path.is_symlink():
                raise DamagedArchiveError(name, "it is a link, not a file")
            with path.open("rb") as file:
                while piece := file.read(_READ_BYTES):
                    yield piece
        except OSError as error:
            raise DamagedArchiveError(name, "it cannot be read") from error


class JoinedSource:
    """Tables of one source, everything else of another."""

    def __init__(self, rows: Source, rest: Source) -> None:
        self._rows = rows
        self._rest = rest

    def names(self) -> list[str]:
        """The tables of the one, and what is no table of the other."""
        rest = [name for name in self._rest.names() if not name.startswith("rows/")]
        return [*self._rows.names(), *rest]

    def open(self, name: str) -> Iterator[bytes]:
        """The member's bytes, a piece at a time."""
        return (self._rows if name.startswith("rows/") else self._rest).open(name)


def is_tidy(name: str) -> bool:
    """Whether a member's name stays below the archive."""
    path = PurePosixPath(name)
    is_plain = not path.is_absolute() and "\\" not in name and "\0" not in name
    return is_plain and ".." not in path.parts and path.as_posix() == name


def lines_of(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """The lines of a member, without their ends."""
    rest = b""
    for piece in pieces:
        *whole, rest = (rest + piece).split(b"\n")
        yield from whole
    if rest:
        yield rest


def sync_folder(folder: Path) -> None:
    """Make names just given in a folder outlive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
