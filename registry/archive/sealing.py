"""Encrypted archives: a file that only who has the key can read, and that nobody can change unseen.

A sealed file is a head of 80 bytes and then the archive in parts of 64 KiB, each encrypted with
AES-256-GCM (NIST SP 800-38D), which notices every changed bit of a part. The way of the parts is
the one that Hoang, Reyhanitabar, Rogaway and Vizár called STREAM (2015):

- Each file has a key of its own: HKDF-SHA256 (RFC 5869) of the club's key and 32 random bytes of
  the head. So the nonces may simply count, and no two parts of any two files share key and nonce.
- A part's nonce is its number in 11 bytes and then one byte that is 1 for the last part alone.
  Parts that were swapped, left out or taken from elsewhere do not open, and neither does a file
  that was cut between two parts, since its new last part does not say so, or one made longer.
- The head is bound to every part as additional data. It also holds 16 bytes that follow from the
  key, so that another key is told apart from damage, and the first 16 bytes of its own SHA-256.

Parts are written and read one at a time, so no more than two of them are in memory. Reading can
begin anywhere, which zip files need: part ``n`` lies where ``n`` says.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import io
import secrets
from pathlib import Path
from typing import IO, Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from registry.archive.containers import DamagedArchiveError

ENDING = ".sealed"
_MAGIC = b"soundlineseal\n1\n"
_SALT_BYTES = 32
_CHECK_BYTES = 16
HEAD_BYTES = len(_MAGIC) + _SALT_BYTES + 2 * _CHECK_BYTES
PART_BYTES = 64 * 1024
_TAG_BYTES = 16
SEALED_PART_BYTES = PART_BYTES + _TAG_BYTES
_KEY_BYTES = 32


class SealKeyError(Exception):
    """The key is missing, no key, or another than the file was sealed with; says what to do."""


def read_key(text: str) -> bytes:
    """The key of SOUNDLINE_BACKUP_KEY; raises SealKeyError."""
    try:
        key = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise SealKeyError("SOUNDLINE_BACKUP_KEY is not base64.") from error
    if len(key) != _KEY_BYTES:
        raise SealKeyError(f"SOUNDLINE_BACKUP_KEY holds {len(key)} bytes instead of {_KEY_BYTES}.")
    return key


def is_sealed(path: Path) -> bool:
    """Whether a file is, or once was, a sealed archive."""
    with path.open("rb") as file:
        return file.read(len(_MAGIC)) == _MAGIC or path.suffix == ENDING


class Sealer:
    """Takes an archive's bytes in order and writes them sealed; ``finish`` writes the last part.

    It cannot go back, which is how the zip file written into it knows to go forward only.
    """

    def __init__(self, file: IO[bytes], key: bytes) -> None:
        self._file = file
        salt = secrets.token_bytes(_SALT_BYTES)
        own_key, check = _derived(key, salt)
        head = _MAGIC + salt + check
        self._head = head + hashlib.sha256(head).digest()[:_CHECK_BYTES]
        self._cipher = AESGCM(own_key)
        self._number = 0
        self._waiting = bytearray()
        file.write(self._head)

    def write(self, data: bytes) -> int:
        """Take more."""
        self._waiting += data
        # The last part is known only when no more comes, so a full one waits.
        while len(self._waiting) > PART_BYTES:
            self._write_part(bytes(self._waiting[:PART_BYTES]), is_last=False)
            del self._waiting[:PART_BYTES]
        return len(data)

    def flush(self) -> None:
        """Write what can be written; a part that is not full waits."""
        self._file.flush()

    def finish(self) -> None:
        """Write the last part."""
        self._write_part(bytes(self._waiting), is_last=True)
        self._waiting.clear()

    def _write_part(self, part: bytes, *, is_last: bool) -> None:
        nonce = _nonce(self._number, is_last=is_last)
        self._file.write(self._cipher.encrypt(nonce, part, self._head))
        self._number += 1


class Opener(io.RawIOBase):
    """Reads a sealed file as if it were not sealed, from anywhere in it.

    Raises SealKeyError for another key, and DamagedArchiveError that says which bytes of the file
    are not what was written.
    """

    def __init__(self, path: Path, key: bytes) -> None:
        super().__init__()
        self._name = path.name
        self._file = path.open("rb")
        try:
            self._head = self._file.read(HEAD_BYTES)
            self._cipher = self._cipher_of(key)
            body = path.stat().st_size - HEAD_BYTES
            self.parts = max(1, -(-body // SEALED_PART_BYTES))
            self._size = body - self.parts * _TAG_BYTES
            self._place = 0
            self._kept: tuple[int, bytes] = (-1, b"")
            self._part(self.parts - 1)
        except BaseException:
            self._file.close()
            raise

    def check(self) -> None:
        """Open every part once, in order."""
        for number in range(self.parts):
            self._part(number)

    def readable(self) -> bool:
        """It is."""
        return True

    def seekable(self) -> bool:
        """It is."""
        return True

    def tell(self) -> int:
        """The place in the archive, not in the file."""
        return self._place

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go to a place in the archive."""
        origin = {io.SEEK_SET: 0, io.SEEK_CUR: self._place, io.SEEK_END: self._size}[whence]
        if origin + offset < 0:
            raise ValueError("before the beginning")
        self._place = origin + offset
        return self._place

    def readinto(self, into: Any) -> int:
        """Read up to the end of one part."""
        if self._place >= self._size:
            return 0
        number, start = divmod(self._place, PART_BYTES)
        piece = self._part(number)[start : start + len(into)]
        into[: len(piece)] = piece
        self._place += len(piece)
        return len(piece)

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()

    def _cipher_of(self, key: bytes) -> AESGCM:
        told, total = self._head[:-_CHECK_BYTES], self._head[-_CHECK_BYTES:]
        is_whole = len(self._head) == HEAD_BYTES and told.startswith(_MAGIC)
        if not is_whole or hashlib.sha256(told).digest()[:_CHECK_BYTES] != total:
            raise DamagedArchiveError(
                self._name, f"its head (bytes 0 to {HEAD_BYTES - 1}) is not what was written"
            )
        own_key, check = _derived(key, told[len(_MAGIC) : -_CHECK_BYTES])
        if check != told[-_CHECK_BYTES:]:
            raise SealKeyError(
                f"{self._name} was encrypted with another key. Set SOUNDLINE_BACKUP_KEY to the one"
                " of the day it was made."
            )
        return AESGCM(own_key)

    def _part(self, number: int) -> bytes:
        if self._kept[0] != number:
            self._kept = (number, self._opened(number))
        return self._kept[1]

    def _opened(self, number: int) -> bytes:
        is_last = number == self.parts - 1
        start = HEAD_BYTES + number * SEALED_PART_BYTES
        self._file.seek(start)
        sealed = self._file.read(SEALED_PART_BYTES)
        try:
            return self._cipher.decrypt(_nonce(number, is_last=is_last), sealed, self._head)
        except (InvalidTag, ValueError) as error:
            if is_last and self._is_one_before_the_last(number, sealed):
                why = f"it was cut after byte {start + len(sealed) - 1}: its end is missing"
            else:
                why = (
                    f"part {number + 1} of {self.parts} (bytes {start} to"
                    f" {start + max(len(sealed), 1) - 1}) is not what was written"
                    f"{', or its end is missing' if is_last else ''}"
                )
            raise DamagedArchiveError(self._name, why) from error

    def _is_one_before_the_last(self, number: int, sealed: bytes) -> bool:
        """Whether a part at the end is whole, and more came after it."""
        try:
            self._cipher.decrypt(_nonce(number, is_last=False), sealed, self._head)
        except (InvalidTag, ValueError):
            return False
        return True


def _nonce(number: int, *, is_last: bool) -> bytes:
    return number.to_bytes(11, "big") + bytes([is_last])


def _derived(key: bytes, salt: bytes) -> tuple[bytes, bytes]:
    """The file's own key, and what tells whether the club's key is the right one."""
    size = _KEY_BYTES + _CHECK_BYTES
    hkdf = HKDF(algorithm=hashes.SHA256(), length=size, salt=salt, info=b"soundline backup 1")
    made = hkdf.derive(key)
    return made[:_KEY_BYTES], made[_KEY_BYTES:]
