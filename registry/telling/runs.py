"""A breed's breeding runs for those who keep them: the latest, whether it is behind, what failed.

Facts of ``registry.queries.breeding`` in, finished strings out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.models import Breed, BreedingRun, RunState
from registry.queries.breeding import RunFacts, TraitFacts
from registry.telling.breeding import RunWords, run_words
from registry.telling.facts import Fact
from registry.wording import dates
from registry.wording.course import heritability_sentence
from registry.wording.grades import not_inherited_words

_FAILURES = 3


@dataclass(frozen=True, slots=True)
class BreedRuns:
    """One breed. ``state`` names a shape of the pages, ``word`` says it; ``is_open`` while a run
    waits or is under way, so that none is asked for."""

    name: str
    slug: str
    state: str
    word: str
    run: RunWords | None
    traits: tuple[Fact, ...]
    failures: tuple[str, ...]
    is_open: bool


def breed_runs(breed: Breed, latest: RunFacts | None, runs: Sequence[BreedingRun]) -> BreedRuns:
    """Put a breed's line together; ``runs`` are its runs of every state, newest first."""
    newest = runs[0] if runs else None
    state, word = _state(latest, newest)
    return BreedRuns(
        name=breed.name,
        slug=breed.slug,
        state=state,
        word=word,
        run=run_words(latest) if latest else None,
        traits=_traits(latest) if latest else (),
        failures=tuple(_failure(run) for run in runs if run.state == RunState.FAILED)[:_FAILURES],
        is_open=newest is not None and newest.state in (RunState.WAITING, RunState.RUNNING),
    )


def _state(latest: RunFacts | None, newest: BreedingRun | None) -> tuple[str, str]:
    if newest is not None and newest.state == RunState.WAITING:
        words = _("Run %(number)d has waited since %(at)s")
        return "waiting", words % _of_run(newest, newest.asked_at)
    if newest is not None and newest.state == RunState.RUNNING:
        words = _("Run %(number)d has been under way since %(at)s")
        return "in-progress", words % _of_run(newest, newest.started_at or newest.asked_at)
    if newest is not None and newest.state == RunState.FAILED:
        words = _("Run %(number)d failed on %(at)s")
        return "failed", words % _of_run(newest, newest.finished_at or newest.asked_at)
    if latest is None:
        return "not-started", _("No run yet")
    if latest.is_behind:
        return "look", _("Behind")
    return "passed", _("Up to date")


def _of_run(run: BreedingRun, at: datetime) -> dict[str, object]:
    return {"number": run.number, "at": dates.moment(at)}


def _failure(run: BreedingRun) -> str:
    said = _("Run %(number)d, %(at)s:") % _of_run(run, run.finished_at or run.asked_at)
    return f"{said} {run.error}"


def _traits(latest: RunFacts) -> tuple[Fact, ...]:
    with_values = [Fact(facts.trait.name, _found(facts)) for facts in latest.traits]
    without = [
        Fact(
            each.trait.name,
            ngettext(
                "No breeding values, from %(records)s result.",
                "No breeding values, from %(records)s results.",
                each.records,
            )
            % {"records": f"{each.records:,}"},
        )
        for each in latest.without
    ]
    return (*with_values, *without)


def _found(facts: TraitFacts) -> str:
    records = ngettext("%(count)s result.", "%(count)s results.", facts.records) % {
        "count": f"{facts.records:,}"
    }
    error = facts.heritability_se
    number = f"{facts.heritability:.2f}" + ("" if error is None else f" ± {error:.2f}")
    said = [
        records,
        _("Heritability %(number)s.") % {"number": number},
        heritability_sentence(facts.heritability, error),
    ]
    if not facts.is_ranked:
        said.append(not_inherited_words(facts.trait.name, facts.records))
        said.append(_("So this number is taken from published studies."))
    elif facts.is_borrowed:
        said.append(_("Taken from published studies: this breed has too few results of its own."))
    return " ".join(said)
