"""Walk the ledger and say whether it is whole; exits with 1 and names the damage when it is not."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.desk import verification
from registry.ledger.checkpoints import Checkpoint, NoteProblem, VerifierKey, open_note
from registry.ledger.keys import verifier_keys


class Command(BaseCommand):
    """Verify the audit trail, alone or against checkpoints that somebody kept."""

    help = (
        "Verify the whole audit trail; exits with 1 and names the damage when it is not whole."
        " With --against it also compares the trail with checkpoints that somebody kept: they show"
        " a history that was written anew, even with the club's own key."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take --most, and what somebody kept."""
        parser.add_argument("--most", type=int, default=100, help="damages to list at the most")
        parser.add_argument(
            "--against",
            action="append",
            type=Path,
            default=[],
            metavar="FILE",
            help="a checkpoint that was kept; several narrow a difference down",
        )
        parser.add_argument(
            "--leaves",
            action="append",
            type=Path,
            default=[],
            metavar="FILE",
            help="the hashes that came with a checkpoint; they name the very entry",
        )
        parser.add_argument(
            "--key",
            action="append",
            default=[],
            metavar="VERIFIER-KEY",
            help="the log's verifier key as it was kept; without it, the keys of the settings",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Print one line a damage: entry, field, kind, sentence."""
        kept, saved = _kept(options["against"], options["key"]), _saved(options["leaves"])
        seen = verification.verify_ledger(
            kept=kept,
            saved=saved,
            most=options["most"],
            progress=self._show,
            processes=os.cpu_count() or 1,
        )
        if options["verbosity"] and self.stdout.isatty():
            self.stdout.write("")
        for damage in seen.damages:
            self.stdout.write(verification.line(damage))
        if seen.found:
            raise CommandError(
                f"The ledger is damaged: {seen.found} {'damage' if seen.found == 1 else 'damages'},"
                " the first of them listed above. Keep the database as it is and compare it with a"
                " backup."
            )
        self.stdout.write(f"The ledger is whole: {seen.entries:,} entries, last hash {seen.head}.")
        for checkpoint in kept:
            self.stdout.write(f"It continues the checkpoint of {checkpoint.size:,} entries.")

    def _show(self, count: int) -> None:
        if self.stdout.isatty():
            self.stdout.write(f"\r{count:,} entries", ending="")
            self.stdout.flush()


def _kept(files: list[Path], keys: list[str]) -> list[Checkpoint]:
    """The checkpoints of the files, each opened with a known key."""
    try:
        known = [VerifierKey.parse(key) for key in keys] or verifier_keys()
    except NoteProblem as problem:
        raise CommandError(str(problem)) from problem
    found = []
    for file in files:
        try:
            found.append(Checkpoint.parse(open_note(_text(file), known)))
        except NoteProblem as problem:
            raise CommandError(f"{file.name}: {problem}") from problem
    return found


def _saved(files: list[Path]) -> dict[int, bytes]:
    """The leaf hashes of the files by entry: a number, a space and 64 hex digits a line."""
    saved: dict[int, bytes] = {}
    for file in files:
        for line in _text(file).splitlines():
            seq, _, leaf = line.partition(" ")
            try:
                saved[int(seq)] = bytes.fromhex(leaf)
            except ValueError as error:
                raise CommandError(f"{file.name}: this line is no entry's hash: {line}") from error
    return saved


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise CommandError(f"{file.name} is not there.") from error
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(f"{file.name} cannot be read.") from error
