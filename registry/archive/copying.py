"""Copy an archive into a folder that lies on another machine, and read it there once more."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from registry.archive.containers import sync_folder
from registry.archive.writing import BackupProblemError

_PIECE_BYTES = 1 << 20


def copy_away(path: Path, folder: Path) -> Path:
    """Copy the file into the folder; it appears there whole or not at all.

    The folder is not made: where one is missing, nothing is mounted, and the copy would lie on this
    machine. Raises BackupProblemError.
    """
    if not folder.is_dir():
        raise BackupProblemError(
            f"{folder} (SOUNDLINE_BACKUP_COPY_FOLDER) is not there. Is the other disk mounted?"
        )
    target, part = folder / path.name, folder / f".{path.name}.part"
    try:
        try:
            written = _copied(path, part)
            if _read_again(part) != written:
                raise BackupProblemError(
                    f"What was copied to {folder} does not read back as it was written. Look at"
                    " that disk and at the way to it."
                )
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(folder)
    except OSError as error:
        raise BackupProblemError(
            f"{path.name} could not be copied to {folder}: {error.strerror or error}. Look whether"
            " there is room, and whether the registry's user may write there."
        ) from error
    return target


def _copied(path: Path, part: Path) -> str:
    """Write the copy to the disk; the hash of what was written."""
    digest = hashlib.sha256()
    part.unlink(missing_ok=True)
    part.touch(mode=0o600)
    with path.open("rb") as source, part.open("r+b") as copy:
        while piece := source.read(_PIECE_BYTES):
            digest.update(piece)
            copy.write(piece)
        copy.flush()
        os.fsync(copy.fileno())
    return digest.hexdigest()


def _read_again(part: Path) -> str:
    with part.open("rb") as copy:
        # What this machine remembers of the file says nothing about the other disk.
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(copy.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return hashlib.file_digest(copy, "sha256").hexdigest()
