"""Count every breed anew from the accepted evaluations; with --check only compare."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.desk import upkeep
from registry.desk.actor import Actor
from registry.desk.distributions import compare_distributions, rebuild_distributions
from registry.models import Breed, Trait
from registry.science.counting import Difference


class Command(BaseCommand):
    """Rebuild or check the breed's counts."""

    help = "Count every breed anew from the accepted evaluations; --check only compares."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take --check."""
        parser.add_argument(
            "--check", action="store_true", help="write nothing; exit with 1 if a count differs"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Say what was counted, and the first cell that differs."""
        is_check = options["check"]
        seen = compare_distributions() if is_check else rebuild_distributions(by=Actor.system())
        # Cells that were written anew agree from now on; the counted values are only compared.
        is_mended = not is_check and seen.counted_difference is None
        facts = {"cells": seen.cells}
        upkeep.remember(name=upkeep.COUNTS, ok=seen.agrees or is_mended, detail=facts)
        self.stdout.write(f"{seen.readings:,} readings make {seen.cells:,} cells.")
        for what, difference in (
            ("cell", seen.cell_difference),
            ("counted value", seen.counted_difference),
        ):
            if difference is not None:
                self.stdout.write(_sentence(what, difference))
        for fault in seen.public_faults:
            self.stdout.write(f"What the public sees: {fault}.")
        for fault in seen.public_faults:
            self.stdout.write(f"What the public sees: {fault}.")
        if seen.agrees:
            self.stdout.write("The stored counts agree exactly.")
        elif is_check:
            raise CommandError("The stored counts differ. Run rebuild_distributions to mend them.")
        else:
            self.stdout.write("The counts were written anew.")


def _sentence(what: str, found: Difference) -> str:
    breed = Breed.objects.filter(pk=found.breed).first()
    trait = Trait.objects.filter(pk=found.trait).first()
    value = trait.value_text(found.step) if trait else found.step
    sex = ("female", "male")[int(found.sex)]
    month = f"{found.month // 100:04d}-{found.month % 100:02d}"
    return (
        f"First {what} that differs: {breed}, {trait}, {sex}, {month}, value {value}:"
        f" stored {found.stored}, counted {found.computed}."
    )
