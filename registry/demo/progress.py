"""Say how far the work has come: a line that updates on a terminal, plain lines anywhere else."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from typing import Protocol, TypeVar

Item = TypeVar("Item")

_REDRAW_SECONDS = 0.2
_PLAIN_SECONDS = 5.0


class Stream(Protocol):
    """Where the lines go."""

    def write(self, text: str, /) -> object:
        """Write the text."""

    def flush(self) -> None:
        """Show what was written."""

    def isatty(self) -> bool:
        """Whether a person watches a terminal."""


class Progress:
    """Counts the items of one stage after another."""

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._redraws = stream.isatty()

    def say(self, text: str) -> None:
        """Write one line."""
        self._stream.write(f"{text}\n")
        self._stream.flush()

    def over(self, items: Sequence[Item], doing: str) -> Iterator[Item]:
        """The items, one by one, telling on the way how many are done."""
        began = shown = time.monotonic()
        wait = _REDRAW_SECONDS if self._redraws else _PLAIN_SECONDS
        for done, item in enumerate(items):
            now = time.monotonic()
            if now - shown >= wait:
                self._show(f"  {doing}: {done:,} of {len(items):,}")
                shown = now
            yield item
        seconds = time.monotonic() - began
        self._show(f"  {doing}: {len(items):,}, {seconds:.0f} s", is_last=True)

    def _show(self, text: str, *, is_last: bool = False) -> None:
        if self._redraws:
            # Back to the start of the line, and clear what a longer text left there.
            self._stream.write(f"\r\x1b[K{text}" + ("\n" if is_last else ""))
        else:
            self._stream.write(f"{text}\n")
        self._stream.flush()


class Silent:
    """A stream for those who want no words."""

    def write(self, text: str, /) -> object:
        """Drop the text."""
        return len(text)

    def flush(self) -> None:
        """Nothing is held back."""

    def isatty(self) -> bool:
        """Nobody watches."""
        return False
