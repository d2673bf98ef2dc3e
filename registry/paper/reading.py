"""A program of its own that ``attachment`` runs: a PDF comes in, the file it carries goes out.

Whatever a hostile PDF does, it does to this process alone, which has little time and memory, may
write no file and ends with a code that says what was found. It imports nothing of the registry.
"""

from __future__ import annotations

import contextlib
import io
import resource
import sys

FOUND, NONE, LOCKED, SEVERAL, LARGE, DAMAGED, HEAVY = 0, 40, 41, 42, 43, 44, 45
CPU_SECONDS = 4
MEMORY_BYTES = 400 * 2**20


def main() -> int:
    """Write the attachment to standard output; ``argv[1]`` is its largest size in bytes."""
    _confine()
    try:
        code, content = _attached(sys.stdin.buffer.read(), most_bytes=int(sys.argv[1]))
    except MemoryError:
        return HEAVY
    except Exception:  # noqa: BLE001 - a library that meets a hostile file may raise anything
        return DAMAGED
    sys.stdout.buffer.write(content)
    return code


def _confine() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    # Some systems know no limit of memory; the time is limited everywhere.
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def _attached(data: bytes, *, most_bytes: int) -> tuple[int, bytes]:
    # Only now: the limits hold for the library's own start too.
    from pypdf import PdfReader  # noqa: PLC0415
    from pypdf.errors import LimitReachedError  # noqa: PLC0415

    reader = PdfReader(io.BytesIO(data))
    if reader.is_encrypted:
        return LOCKED, b""
    named = (entry for entry in reader.attachment_list if entry.name.lower().endswith(".json"))
    first, second = next(named, None), next(named, None)
    if first is None:
        return NONE, b""
    if second is not None:
        return SEVERAL, b""
    try:
        content = first.content
    except LimitReachedError:
        return LARGE, b""
    return (FOUND, content) if len(content) <= most_bytes else (LARGE, b"")


if __name__ == "__main__":
    sys.exit(main())
