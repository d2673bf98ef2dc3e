"""A checkpoint signed here opens with the right key, unchanged, and not otherwise."""

from __future__ import annotations

import pytest

from registry.ledger.checkpoints import Checkpoint, NoteProblem, Signer, VerifierKey, open_note

SIGNER = Signer.from_seed("club.example/log", bytes(range(32)))
OTHER = Signer.from_seed("other.example/log", bytes(range(1, 33)))
CHECKPOINT = Checkpoint("club.example/log", 1234, bytes(range(32)))
NOTE = SIGNER.sign(CHECKPOINT.text)


def test_a_note_opens_with_the_signers_key() -> None:
    assert Checkpoint.parse(open_note(NOTE, [OTHER.verifier, SIGNER.verifier])) == CHECKPOINT


def test_a_second_signature_does_no_harm() -> None:
    line = OTHER.sign(CHECKPOINT.text).rpartition("\n\n")[2]

    assert open_note(NOTE + line, [SIGNER.verifier]) == CHECKPOINT.text
    assert open_note(NOTE + line, [OTHER.verifier]) == CHECKPOINT.text


@pytest.mark.parametrize(
    "note",
    [
        NOTE.replace("1234", "1235"),
        NOTE.replace("club.example/log\n", "club.exampie/log\n"),
        CHECKPOINT.text,
        NOTE[:-1],
        NOTE.replace("— ", "- "),
        NOTE[:-10] + "\n",
        "",
    ],
    ids=["size", "origin", "unsigned", "cut", "dash", "short", "empty"],
)
def test_a_changed_note_is_refused(note: str) -> None:
    with pytest.raises(NoteProblem):
        open_note(note, [SIGNER.verifier])


def test_every_flipped_letter_of_the_text_is_refused() -> None:
    for at in range(len(CHECKPOINT.text)):
        flipped = chr(ord(NOTE[at]) ^ 1)
        with pytest.raises(NoteProblem):
            open_note(NOTE[:at] + flipped + NOTE[at + 1 :], [SIGNER.verifier])


def test_a_stranger_cannot_sign_for_the_club() -> None:
    imposter = Signer.from_seed(SIGNER.name, bytes(32))

    with pytest.raises(NoteProblem, match="None of the known keys"):
        open_note(imposter.sign(CHECKPOINT.text), [SIGNER.verifier])


def test_a_key_reads_back() -> None:
    assert VerifierKey.parse(SIGNER.verifier.text) == SIGNER.verifier


@pytest.mark.parametrize("text", ["", "name", "name+00000000+AAAA", "a+b+c"])
def test_what_is_no_key_is_refused(text: str) -> None:
    with pytest.raises(NoteProblem):
        VerifierKey.parse(text)


def test_a_key_with_a_wrong_letter_is_refused() -> None:
    text = SIGNER.verifier.text

    with pytest.raises(NoteProblem, match="a letter is wrong"):
        VerifierKey.parse(text.replace("club", "clud"))


@pytest.mark.parametrize(
    "text",
    [
        "origin\n12\n",
        "\n12\nAAAA\n",
        "origin\n012\n" + "A" * 43 + "=\n",
        "origin\n-1\n" + "A" * 43 + "=\n",
        "origin\n٣\n" + "A" * 43 + "=\n",
        "origin\n12\nAAAA\n",
        "origin\n99999999999999999999\n" + "A" * 43 + "=\n",
    ],
)
def test_what_is_no_checkpoint_is_refused(text: str) -> None:
    with pytest.raises(NoteProblem):
        Checkpoint.parse(text)


def test_a_log_has_a_plain_name() -> None:
    with pytest.raises(NoteProblem, match="no space"):
        Signer.from_seed("club log", bytes(32))
    with pytest.raises(NoteProblem, match="empty line"):
        SIGNER.sign("two\n\nparts\n")
