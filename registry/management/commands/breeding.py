"""``manage.py breeding``: ask for breeding runs, or compute them here and say what was found."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.desk.actor import Actor
from registry.desk.breeding import ask_for_run, compute_now
from registry.models import Breed, BreedingRun, RunState, TraitRun


class Command(BaseCommand):
    """Ask for runs, or compute them in this process."""

    help = (
        "Ask for a breeding run of a breed or of all; --now computes here and says what it found."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Which breed, and whether to wait for the worker."""
        parser.add_argument("--breed", metavar="SLUG", help="one breed (default: every breed)")
        parser.add_argument(
            "--now", action="store_true", help="compute in this process, not in the worker's"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """A line a run, and with --now a line a trait."""
        breeds = Breed.objects.order_by("name")
        if options["breed"]:
            breeds = breeds.filter(slug=options["breed"])
            if not breeds:
                raise CommandError(
                    f"There is no breed {options['breed']!r}. The breeds are:"
                    f" {', '.join(Breed.objects.values_list('slug', flat=True)) or 'none yet'}."
                )
        failed = []
        for breed in breeds:
            if options["now"]:
                run = compute_now(by=Actor.system(), breed_slug=breed.slug)
                self._tell(run)
                failed += [breed.slug] if run.state == RunState.FAILED else []
            else:
                run = ask_for_run(by=Actor.system(), breed_slug=breed.slug)
                self.stdout.write(f"{breed.name}: run {run.number} waits for the worker.")
        if failed:
            raise CommandError(f"Without a new run: {', '.join(failed)}.")

    def _tell(self, run: BreedingRun) -> None:
        if run.state == RunState.FAILED:
            self.stdout.write(f"{run.breed.name}: run {run.number} failed. {run.error}")
            return
        if run.finished_at is None or run.started_at is None:
            self.stdout.write(f"{run.breed.name}: run {run.number} is being computed elsewhere.")
            return
        seconds = (run.finished_at - run.started_at).total_seconds()
        self.stdout.write(
            f"{run.breed.name}: run {run.number}, {run.dogs:,} dogs, {seconds:.1f} s"
            f" (inputs {run.inputs_sha256[:12]}, results {run.results_sha256[:12]})"
        )
        for of in run.traits.select_related("trait").order_by("trait__position", "trait__slug"):
            self.stdout.write(f"  {of.trait.slug}: {_findings(of)}")


def _findings(of: TraitRun) -> str:
    if not of.has_values:
        return f"{of.records:,} records, no breeding values ({of.notes[0]['code']})"
    error = "from published figures"
    if of.heritability_se is not None:
        error = f"± {of.heritability_se:.2f}"
    return (
        f"heritability {of.heritability:.2f} {error}, {of.records:,} records,"
        f" reliabilities {of.method}, {of.seconds:.1f} s"
    )
