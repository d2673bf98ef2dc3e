"""A damaged archive is refused before anything is written, and the damaged member is named."""

from __future__ import annotations

import re
import zipfile
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from registry.models import User
from tests.archive.conftest import Kept
from tests.archive.damages import DAMAGES, Deed, read_zip, refit, write_zip

pytestmark = pytest.mark.django_db


def restore(path: Path) -> str:
    said = StringIO()
    call_command("restore", str(path), "--check", stdout=said)
    return said.getvalue()


def test_a_sound_archive_is_whole(kept: Kept, tmp_path: Path) -> None:
    files = read_zip(kept.made.path)
    refit(files)

    assert "The archive is whole" in restore(kept.made.path)
    assert "The archive is whole" in restore(write_zip(tmp_path / "refitted.zip", files))


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda damage: damage.__name__)
def test_damage_is_refused_by_name(kept: Kept, tmp_path: Path, damage: Deed) -> None:
    files = read_zip(kept.made.path)
    member = damage(files)
    path = write_zip(tmp_path / "damaged.zip", files)

    with pytest.raises(CommandError) as refused:
        call_command("restore", str(path), stdout=StringIO())

    assert f"The archive is damaged. {member}: " in str(refused.value)
    assert "Nothing was written" in str(refused.value)
    assert not User.objects.exists()


def test_a_file_cut_short_is_refused(kept: Kept, tmp_path: Path) -> None:
    whole = kept.made.path.read_bytes()
    path = tmp_path / "cut.zip"
    path.write_bytes(whole[: len(whole) // 2])

    with pytest.raises(CommandError, match=r"cut\.zip: this is no zip file, or its end is missing"):
        restore(path)


def test_a_bad_byte_in_the_packed_file_names_its_member(kept: Kept, tmp_path: Path) -> None:
    whole = kept.made.path.read_bytes()
    with zipfile.ZipFile(kept.made.path) as archive:
        packed = [found for found in archive.infolist() if found.compress_size > 40][:20]
    assert len(packed) == 20

    for member in packed:
        header = whole[member.header_offset :][:30]
        names = int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little")
        place = member.header_offset + 30 + names + member.compress_size // 2
        path = tmp_path / "damaged.zip"
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x55]) + whole[place + 1 :])

        with pytest.raises(CommandError, match=f"is damaged. {re.escape(member.filename)}: "):
            restore(path)


def test_a_member_twice_is_refused(kept: Kept, tmp_path: Path) -> None:
    path = tmp_path / "twice.zip"
    path.write_bytes(kept.made.path.read_bytes())

    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(path, "a") as archive:
        archive.writestr("rows/dog.jsonl", b"")

    with pytest.raises(CommandError, match=r"rows/dog\.jsonl: it is there twice"):
        restore(path)


def test_an_export_with_a_link_in_it_is_refused(kept: Kept, tmp_path: Path) -> None:
    folder = tmp_path / "export"
    folder.mkdir()
    for path in kept.export.rglob("*"):
        target = folder / path.relative_to(kept.export)
        if path.is_dir():
            target.mkdir(exist_ok=True)
        else:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(path.read_bytes())
    (folder / "README.txt").unlink()
    (folder / "README.txt").symlink_to("/etc/hostname")

    with pytest.raises(CommandError, match=r"README\.txt: it is a link"):
        restore(folder)


def test_a_log_of_another_key_is_refused_before_anything_is_written(
    kept: Kept, settings: object
) -> None:
    settings.LOG_KEY = "B" * 43 + "="  # type: ignore[attr-defined]

    with pytest.raises(CommandError, match="SOUNDLINE_LOG_FORMER_KEYS"):
        restore(kept.made.path)
