"""Check a certificate's file, or the one in its PDF, without asking any server; exits with 1 when
it is not genuine."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.credential.certificate import MOST_BYTES, ReadCertificate, is_marked, read
from registry.credential.integrity import ProofProblem
from registry.ledger.keys import verifier_keys
from registry.paper.attachment import AttachmentProblem, attached_file, is_pdf
from registry.science.numbers import format_number
from registry.telling.issuer import issuer
from registry.telling.signed import signed_facts
from registry.wording.verdicts import what_genuine_means


class Command(BaseCommand):
    """Verify one file by its signature and its line of the log."""

    help = (
        "Check a certificate's file, or the PDF that carries it, by its signature and its line of"
        " the public log, without a database or a network. Whether it still holds, only a status"
        " list can tell: save it from the address that the file names, and give it with --status."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and status lists."""
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument(
            "--status",
            action="append",
            type=Path,
            default=[],
            metavar="FILE",
            help="a status list that was saved; at best both that the file names",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Print what the file is worth."""
        club = issuer()
        try:
            found = read(_certificate(options["file"]), club, verifier_keys())
            marks = dict(is_marked(found, _content(each), club) for each in options["status"])
        except ProofProblem as problem:
            raise CommandError(f"Not genuine. {problem}") from problem
        except AttachmentProblem as problem:
            raise CommandError(f"Not checked. {problem}") from problem
        self._say(found)
        if marks.get("revocation"):
            raise CommandError("Revoked: the club has taken this certificate back.")
        if marks.get("refresh"):
            self.stdout.write("A newer or corrected result has taken its place. Use that one.")
        elif {"revocation", "refresh"} <= marks.keys():
            self.stdout.write("By the status lists it is current.")
        else:
            self.stdout.write("Whether it still holds was not checked: see --status.")

    def _say(self, found: ReadCertificate) -> None:
        subject = found.document["credentialSubject"]
        number = format_number(found.number)
        self.stdout.write(f"The club signed certificate {number} for {subject['name']}.")
        if found.log_size is None:
            self.stdout.write("It was signed before its line of the log was sealed.")
        else:
            self.stdout.write(
                f"Its line stands in the public log, sealed with {found.log_size:,} lines."
            )
        self.stdout.write("Compare these with the paper: only what stands here was signed.")
        for fact in signed_facts(found.document):
            self.stdout.write(f"  {fact.term}: {fact.value}")
        self.stdout.write(what_genuine_means())


def _certificate(file: Path) -> bytes:
    """The signed file, taken out of the PDF where it is one."""
    data = _content(file)
    return attached_file(data, most_bytes=MOST_BYTES) if is_pdf(data) else data


def _content(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise CommandError(f"{file.name} cannot be read.") from error
