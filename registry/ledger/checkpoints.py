"""Checkpoints of the public log: C2SP tlog-checkpoint texts, signed as C2SP signed notes (Ed25519).

A checkpoint says how many entries the ledger had and which tree they made. Whoever keeps one can
later show that history was rewritten, even with the club's own key. Pure: keys and texts in, texts
out; where the key lies and where checkpoints are kept is settled elsewhere.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

_ED25519 = b"\x01"
_DASH = "— "
_LARGEST_SIZE = 2**63 - 1


class NoteProblem(ValueError):
    """A note, key or checkpoint that cannot be believed; says why in one sentence."""


@dataclass(frozen=True, slots=True)
class VerifierKey:
    """A public key under the name of the log it signs for."""

    name: str
    public: bytes

    @classmethod
    def parse(cls, text: str) -> VerifierKey:
        """Read ``name+hex key id+base64 key``; raises NoteProblem."""
        name, _, rest = text.strip().partition("+")
        key_id, _, encoded = rest.partition("+")
        raw = _decoded(encoded)
        if not name or len(raw) != 33 or raw[:1] != _ED25519:
            raise NoteProblem("This is not the text of an Ed25519 verifier key.")
        key = cls(name, raw[1:])
        if key.key_id.hex() != key_id:
            raise NoteProblem("The verifier key does not fit its own number: a letter is wrong.")
        return key

    @property
    def key_id(self) -> bytes:
        """The four bytes that name the key in a signature line."""
        named = self.name.encode() + b"\n" + _ED25519 + self.public
        return hashlib.sha256(named).digest()[:4]

    @property
    def text(self) -> str:
        """The key as others are given it."""
        encoded = base64.b64encode(_ED25519 + self.public).decode()
        return f"{self.name}+{self.key_id.hex()}+{encoded}"


@dataclass(frozen=True, slots=True)
class Signer:
    """A private key and the name of the log it signs for."""

    name: str
    private: Ed25519PrivateKey

    @classmethod
    def from_seed(cls, name: str, seed: bytes) -> Signer:
        """The signer of a 32-byte seed. A name holds no space, plus sign or control character."""
        if not name or any(letter.isspace() or letter == "+" for letter in name):
            raise NoteProblem("A log's name has no space and no plus sign.")
        return cls(name, Ed25519PrivateKey.from_private_bytes(seed))

    @property
    def verifier(self) -> VerifierKey:
        """What others need to check the signatures."""
        return VerifierKey(self.name, self.private.public_key().public_bytes_raw())

    def sign(self, text: str) -> str:
        """The text as a signed note."""
        if not text.endswith("\n") or "\n\n" in text:
            raise NoteProblem("A note's text ends with a line break and has no empty line.")
        signature = self.verifier.key_id + self.private.sign(text.encode())
        return f"{text}\n{_DASH}{self.name} {base64.b64encode(signature).decode()}\n"


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The ledger's tree at one size, as its text says it."""

    origin: str
    size: int
    root: bytes

    @property
    def text(self) -> str:
        """Origin, size and root, a line each."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"

    @classmethod
    def parse(cls, text: str) -> Checkpoint:
        """Read a checkpoint's text; lines after the third are left to whoever knows them."""
        lines = text.split("\n")
        if len(lines) < 4 or not lines[0] or lines[-1] != "":
            raise NoteProblem("A checkpoint has at least three lines.")
        size, root = lines[1], _decoded(lines[2])
        if not size.isascii() or not size.isdecimal() or (size[0] == "0" and size != "0"):
            raise NoteProblem("The second line of a checkpoint is the number of entries.")
        if len(size) > 19 or int(size) > _LARGEST_SIZE or len(root) != 32:
            raise NoteProblem("The third line of a checkpoint is the root of its tree.")
        return cls(lines[0], int(size), root)


def open_note(note: str, keys: list[VerifierKey]) -> str:
    """The text of a note that one of the keys has signed; raises NoteProblem.

    A signature by an unknown key says nothing; a wrong one by a known key spoils the whole note.
    """
    text, separator, signatures = note.rpartition("\n\n")
    if not separator or not signatures.endswith("\n"):
        raise NoteProblem("This is no signed note: an empty line and a signature are missing.")
    text += "\n"
    is_signed = False
    for line in signatures[:-1].split("\n"):
        name, _, encoded = line.removeprefix(_DASH).rpartition(" ")
        raw = _decoded(encoded)
        if not line.startswith(_DASH) or not name or len(raw) < 5:
            raise NoteProblem("A signature line of the note cannot be read.")
        for key in keys:
            if key.name == name and key.key_id == raw[:4]:
                _check(key, raw[4:], text)
                is_signed = True
    if not is_signed:
        raise NoteProblem("None of the known keys has signed this note.")
    return text


def _check(key: VerifierKey, signature: bytes, text: str) -> None:
    try:
        Ed25519PublicKey.from_public_bytes(key.public).verify(signature, text.encode())
    except (InvalidSignature, ValueError) as error:
        raise NoteProblem("The signature does not fit: the note was changed.") from error


def _decoded(text: str) -> bytes:
    """Standard base64, strictly; empty for what is none, which no caller accepts."""
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return b""
