"""An encrypted archive comes back whole with its key, and with nothing else; every change of the
file is noticed and named."""

from __future__ import annotations

import base64
import io
import secrets
import tracemalloc
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from registry.archive.containers import DamagedArchiveError
from registry.archive.sealing import (
    HEAD_BYTES,
    PART_BYTES,
    SEALED_PART_BYTES,
    Opener,
    Sealer,
    SealKeyError,
    read_key,
)
from registry.archive.writing import BackupProblemError, back_up, content_now
from registry.models import Dog
from tests.archive.small_club import empty_the_instance, make_busy_club
from tests.factories import make_club

KEY = bytes(range(32))
KEY_TEXT = base64.b64encode(KEY).decode()
# Five parts, the last one short.
CONTENT = secrets.token_bytes(4 * PART_BYTES + 1_234)
PARTS = 5


def sealed(folder: Path, content: bytes, name: str = "a.zip.sealed") -> Path:
    path = folder / name
    with path.open("wb") as file:
        sealer = Sealer(file, KEY)
        for start in range(0, len(content), 50_000):
            sealer.write(content[start : start + 50_000])
        sealer.finish()
    return path


def opened(path: Path, key: bytes = KEY) -> bytes:
    file = Opener(path, key)
    file.check()
    return io.BufferedReader(file).read()


def part(number: int) -> slice:
    """Where the part lies in the file."""
    start = HEAD_BYTES + number * SEALED_PART_BYTES
    return slice(start, start + SEALED_PART_BYTES)


class TestTheFile:
    @pytest.mark.parametrize("size", [0, 1, PART_BYTES - 1, PART_BYTES, PART_BYTES + 1])
    def test_it_opens_to_what_was_sealed(self, tmp_path: Path, size: int) -> None:
        content = CONTENT[:size]

        path = sealed(tmp_path, content)

        assert opened(path) == content
        assert path.stat().st_size == HEAD_BYTES + size + 16 * max(1, -(-size // PART_BYTES))

    @given(places=st.lists(st.tuples(st.integers(0, len(CONTENT) + 9), st.integers(0, 99_999))))
    def test_it_can_be_read_from_anywhere(
        self, tmp_path_factory: pytest.TempPathFactory, places: list[tuple[int, int]]
    ) -> None:
        file = io.BufferedReader(Opener(sealed(tmp_path_factory.mktemp("a"), CONTENT), KEY))

        for start, size in places:
            file.seek(start)
            assert file.read(size) == CONTENT[start : start + size]
        file.seek(-10, io.SEEK_END)
        assert file.read() == CONTENT[-10:]

    def test_nothing_of_the_content_is_seen_and_no_two_files_are_alike(
        self, tmp_path: Path
    ) -> None:
        words = b"the owner's name " * 20_000

        one = sealed(tmp_path, words, "one").read_bytes()
        other = sealed(tmp_path, words, "other").read_bytes()

        assert b"owner" not in one
        assert one[part(0)] != one[part(1)]
        same = sum(a == b for a, b in zip(one[HEAD_BYTES:], other[HEAD_BYTES:], strict=True))
        assert same < len(words) / 100

    def test_little_memory_is_needed_for_much_content(self, tmp_path: Path) -> None:
        piece = bytes(1_000_000)
        tracemalloc.start()
        with (tmp_path / "large").open("wb") as file:
            sealer = Sealer(file, KEY)
            for _ in range(60):
                sealer.write(piece)
            sealer.finish()
        reader = Opener(tmp_path / "large", KEY)
        reader.check()
        _now, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()

        assert reader.parts > 900
        assert most < 5_000_000


class TestDamage:
    @pytest.fixture
    def path(self, tmp_path: Path) -> Path:
        return sealed(tmp_path, CONTENT)

    def why(self, path: Path, data: bytes) -> str:
        """How the damaged file is refused."""
        path.write_bytes(data)
        with pytest.raises(DamagedArchiveError) as refused:
            opened(path)
        return str(refused.value)

    @pytest.mark.parametrize("place", [0, 15, 16, 40, 47, 48, 63, 64, 79])
    def test_a_changed_byte_of_the_head_is_named(self, path: Path, place: int) -> None:
        data = bytearray(path.read_bytes())
        data[place] ^= 1

        assert "a.zip.sealed: its head (bytes 0 to 79)" in self.why(path, bytes(data))

    @pytest.mark.parametrize("number", range(PARTS))
    @pytest.mark.parametrize("where", [0, 600, -17, -16, -1])
    def test_a_changed_byte_of_a_part_names_the_part_and_its_bytes(
        self, path: Path, number: int, where: int
    ) -> None:
        data = path.read_bytes()
        hurt = bytearray(data[part(number)])
        hurt[where] ^= 0x80
        whole = data[: part(number).start] + bytes(hurt) + data[part(number).stop :]

        last = part(number).start + len(hurt) - 1
        named = f"part {number + 1} of {PARTS} (bytes {part(number).start} to {last})"
        assert named in self.why(path, whole)

    @pytest.mark.parametrize("kept", range(1, PARTS))
    def test_a_file_cut_between_two_parts_lacks_its_end(self, path: Path, kept: int) -> None:
        data = path.read_bytes()[: part(kept).start]

        assert f"it was cut after byte {len(data) - 1}: its end is missing" in self.why(path, data)

    @pytest.mark.parametrize("less", [1, 15, 16, 17, 1_000])
    def test_a_file_cut_within_a_part_lacks_its_end(self, path: Path, less: int) -> None:
        assert "or its end is missing" in self.why(path, path.read_bytes()[:-less])

    @pytest.mark.parametrize("size", [0, 1, 16, HEAD_BYTES - 1, HEAD_BYTES, HEAD_BYTES + 5])
    def test_what_is_left_of_a_head_is_refused(self, path: Path, size: int) -> None:
        assert "not what was written" in self.why(path, path.read_bytes()[:size])

    @pytest.mark.parametrize("more", [b"x", bytes(16), bytes(SEALED_PART_BYTES)])
    def test_a_file_that_was_made_longer_is_refused(self, path: Path, more: bytes) -> None:
        assert "not what was written" in self.why(path, path.read_bytes() + more)

    def test_two_parts_swapped_are_refused(self, path: Path) -> None:
        data = path.read_bytes()
        head, one, two = data[:HEAD_BYTES], data[part(0)], data[part(1)]

        assert "part 1 of 5" in self.why(path, head + two + one + data[part(2).start :])

    def test_a_part_left_out_is_refused(self, path: Path) -> None:
        data = path.read_bytes()

        why = self.why(path, data[: part(1).start] + data[part(2).start :])

        assert "part 4 of 4" in why

    def test_a_part_repeated_is_refused(self, path: Path) -> None:
        data = path.read_bytes()

        why = self.why(path, data[: part(1).start] + data[part(0)] + data[part(1).start :])

        assert "part 6 of 6" in why

    def test_a_part_of_another_file_is_refused(self, path: Path, tmp_path: Path) -> None:
        data = path.read_bytes()
        other = sealed(tmp_path, CONTENT, "other").read_bytes()

        why = self.why(path, data[: part(2).start] + other[part(2)] + data[part(2).stop :])

        assert "part 3 of 5" in why


class TestTheKey:
    def test_another_key_is_told_apart_from_damage(self, tmp_path: Path) -> None:
        path = sealed(tmp_path, CONTENT)

        with pytest.raises(SealKeyError, match="encrypted with another key"):
            Opener(path, bytes(32))

    @pytest.mark.parametrize(
        ("text", "why"), [("AAAA", "3 bytes instead of 32"), ("no key!", "not base64")]
    )
    def test_what_is_no_key_is_refused(self, text: str, why: str) -> None:
        with pytest.raises(SealKeyError, match=why):
            read_key(text)

    @pytest.mark.django_db
    def test_no_backup_is_made_with_what_is_no_key(self, tmp_path: Path, settings: Any) -> None:
        settings.BACKUP_KEY = "AAAA"

        with pytest.raises(BackupProblemError, match="instead of 32"):
            back_up(tmp_path)

        assert list(tmp_path.iterdir()) == []


@pytest.mark.django_db(transaction=True)
class TestARegistry:
    def test_it_is_put_back_from_an_encrypted_backup(self, tmp_path: Path, settings: Any) -> None:
        settings.BACKUP_KEY = KEY_TEXT
        make_busy_club()
        made = back_up(tmp_path)
        empty_the_instance()

        call_command("restore", str(made.path), stdout=StringIO())

        assert made.path.name.endswith(".zip.sealed")
        assert made.path.stat().st_mode & 0o077 == 0
        assert b"Tarnfold" not in made.path.read_bytes()
        assert content_now() == made.manifest.content

    def test_it_is_practised_with_the_key_of_the_settings(
        self, tmp_path: Path, settings: Any
    ) -> None:
        settings.BACKUP_KEY = KEY_TEXT
        make_club()
        said = StringIO()

        call_command("backup", str(tmp_path), "--self-test", stdout=said)

        assert "equals the original" in said.getvalue()

    @pytest.mark.parametrize(
        ("key", "words"),
        [
            ("", "is encrypted. Set SOUNDLINE_BACKUP_KEY"),
            (base64.b64encode(bytes(32)).decode(), "encrypted with another key"),
        ],
    )
    def test_without_the_right_key_nothing_is_written(
        self, tmp_path: Path, settings: Any, key: str, words: str
    ) -> None:
        settings.BACKUP_KEY = KEY_TEXT
        make_club()
        made = back_up(tmp_path)
        empty_the_instance()
        settings.BACKUP_KEY = key

        with pytest.raises(CommandError, match=words):
            call_command("restore", str(made.path), stdout=StringIO())

        assert not Dog.objects.exists()

    def test_damage_is_refused_before_anything_is_written(
        self, tmp_path: Path, settings: Any
    ) -> None:
        settings.BACKUP_KEY = KEY_TEXT
        make_busy_club()
        made = back_up(tmp_path)
        empty_the_instance()
        data = bytearray(made.path.read_bytes())
        data[HEAD_BYTES + 100] ^= 1
        made.path.write_bytes(data)

        with pytest.raises(CommandError, match=r"sealed: part 1 of \d.*Nothing was written"):
            call_command("restore", str(made.path), stdout=StringIO())

        assert not Dog.objects.exists()
