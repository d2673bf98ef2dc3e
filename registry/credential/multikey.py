"""Keys and signatures as text: multibase base58-btc, and the Multikey prefix of Ed25519.

Controlled Identifiers 1.0 (W3C), sections 2.2.2 and 2.4: a key is ``z`` and the base58-btc of the
bytes 0xed 0x01 and the 32 bytes of the public key.
"""

from __future__ import annotations

_ALPHABET = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
_PLACES = {letter: place for place, letter in enumerate(_ALPHABET)}
_ED25519 = b"\xed\x01"
_KEY_BYTES = 32
_LONGEST = 200


def multibase(raw: bytes) -> str:
    """Bytes as ``z`` and base58-btc."""
    number, letters = int.from_bytes(raw), ""
    while number:
        number, place = divmod(number, 58)
        letters = _ALPHABET[place] + letters
    zeros = len(raw) - len(raw.lstrip(b"\0"))
    return "z" + _ALPHABET[0] * zeros + letters


def from_multibase(text: str) -> bytes:
    """The bytes of a multibase base58-btc text; raises ValueError."""
    if not text.startswith("z") or len(text) > _LONGEST or set(text[1:]) - _PLACES.keys():
        raise ValueError("this is no base58 text")
    number = 0
    for letter in text[1:]:
        number = number * 58 + _PLACES[letter]
    zeros = len(text[1:]) - len(text[1:].lstrip(_ALPHABET[0]))
    return bytes(zeros) + number.to_bytes((number.bit_length() + 7) // 8)


def multikey(public: bytes) -> str:
    """An Ed25519 public key as a Multikey."""
    return multibase(_ED25519 + public)


def from_multikey(text: str) -> bytes:
    """The 32 bytes of an Ed25519 Multikey; raises ValueError."""
    raw = from_multibase(text)
    if len(raw) != len(_ED25519) + _KEY_BYTES or not raw.startswith(_ED25519):
        raise ValueError("this is no Ed25519 key")
    return raw[len(_ED25519) :]
