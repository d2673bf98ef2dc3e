"""Breeding runs: ask for one, compute it in the background, catch up with what has changed.

A run is claimed with a lease. A worker that is killed lets it lapse, and the next one begins the
same run anew; whoever comes back late finds that the run is no longer its own and writes nothing.
The long computation is in no transaction; everything it found is stored in one.
"""

from __future__ import annotations

import logging
from datetime import timedelta

from django.db import transaction
from django.db.models import F, Max, Q
from django.utils.translation import gettext as _
from django_tasks import task

from registry import __version__, clock
from registry.desk.actor import Actor, require_role
from registry.desk.breeding_computation import Computed, compute
from registry.desk.breeding_inputs import Inputs, one_snapshot, read_inputs
from registry.desk.breeding_store import TraitResult, store
from registry.desk.errors import NotFound
from registry.desk.forecast_keeping import forecasts_to_keep
from registry.desk.forecast_outcomes import keep_and_check
from registry.ledger import Change, append
from registry.models import Breed, BreedingRun, Dog, Role, RunState
from registry.queries.breeding import changes_since
from registry.science.pedigree import PedigreeLoopError

logger = logging.getLogger(__name__)

LEASE = timedelta(minutes=15)
"""How long a claim holds without a sign of its worker, which gives one before each trait."""
MOST_CLAIMS = 3
"""How many workers may die of a run before it counts as failed."""
AFTER_FAILURE = timedelta(hours=1)
"""How long the schedule leaves a breed alone whose run failed."""

_OPEN = (RunState.WAITING, RunState.RUNNING)


class _Lost(Exception):
    """The run is another worker's by now."""


def ask_for_run(*, by: Actor, breed_slug: str) -> BreedingRun:
    """Ask for a breeding run of the breed; the open one is returned where there is one already.

    Raises NotFound for an unknown breed.
    """
    return _asked(by, breed_slug)


def compute_now(*, by: Actor, breed_slug: str) -> BreedingRun:
    """Ask for a run as ``ask_for_run`` does, and compute it in this process.

    The run may come back undone: another worker has it.
    """
    run = _asked(by, breed_slug, is_queued=False)
    compute_run(run_id=run.pk)
    run.refresh_from_db()
    return run


def _asked(by: Actor, breed_slug: str, *, is_queued: bool = True) -> BreedingRun:
    if by.role is not None:
        require_role(by, Role.REGISTRAR, Role.SECRETARY)
    with transaction.atomic():
        # Whoever asks at the same moment waits here, and then finds the open run.
        breed = Breed.objects.select_for_update(no_key=True).filter(slug=breed_slug).first()
        if breed is None:
            raise NotFound(_("There is no such breed."))
        runs = BreedingRun.objects.filter(breed=breed)
        run = runs.filter(state__in=_OPEN).first()
        if run is None:
            now = clock.now()
            run = BreedingRun.objects.create(
                breed=breed,
                number=(runs.aggregate(last=Max("number"))["last"] or 0) + 1,
                asked_at=now,
                lease_until=now + LEASE,
            )
            if by.role is not None:
                append(
                    by=by,
                    action="breeding.asked",
                    subject=f"breed:{breed.slug}"[:40],
                    changes={"number": Change(None, run.number)},
                )
            if is_queued:
                breeding_run.enqueue(run.pk)
    run.refresh_from_db()
    return run


@task()
def breeding_run(run_id: int) -> bool:
    """The background task: compute the run; whether it was this worker's to do."""
    return compute_run(run_id=run_id)


def compute_run(*, run_id: int) -> bool:
    """Claim the run, compute it and store what was found; False when it is not ours to do.

    A failure is stored with the run in plain words, and nothing else of it is.
    """
    claim = _claim(run_id)
    if claim is None:
        return False
    run = BreedingRun.objects.select_related("breed").get(pk=run_id)
    try:
        with one_snapshot():
            inputs = read_inputs(run.breed)
        computed = compute(inputs, between=lambda: _sign_of_life(run_id, claim))
        _finish(run, claim, inputs, computed)
    except _Lost:
        logger.warning("a breeding run was taken over by another worker", extra={"run": run_id})
        return False
    except PedigreeLoopError as error:
        _fail(run_id, claim, _loop_words(inputs, error))
    except Exception as error:
        # Whatever it was, the registrar must be told, and the next run must be possible.
        logger.exception("a breeding run failed", extra={"run": run_id})
        _fail(run_id, claim, _failure_words(error))
    return True


def catch_up(*, by: Actor) -> list[BreedingRun]:
    """Ask for a run of every breed that has changed since its last one; returns those asked for.

    A breed whose last run failed is left alone for an hour, one without dogs always.
    """
    return [ask_for_run(by=by, breed_slug=breed.slug) for breed in _idle() if _is_due(breed)]


def catch_up_now(*, by: Actor) -> list[BreedingRun]:
    """The same runs, computed in this process."""
    return [compute_now(by=by, breed_slug=breed.slug) for breed in _idle() if _is_due(breed)]


def recover_lost_runs() -> list[BreedingRun]:
    """Queue the runs again whose worker or task was lost; returns them.

    One that has cost several workers their lives counts as failed.
    """
    now = clock.now()
    lapsed = BreedingRun.objects.filter(state__in=_OPEN, lease_until__lt=now)
    hopeless = lapsed.filter(claims__gte=MOST_CLAIMS)
    words = _("The computation was cut short %(times)d times. The server may lack memory for it.")
    hopeless.update(state=RunState.FAILED, finished_at=now, error=words % {"times": MOST_CLAIMS})
    queued = []
    for run in lapsed.select_related("breed"):
        with transaction.atomic():
            mine = lapsed.filter(pk=run.pk).update(state=RunState.WAITING, lease_until=now + LEASE)
            if mine:
                breeding_run.enqueue(run.pk)
                queued.append(run)
    return queued


def _idle() -> list[Breed]:
    return list(Breed.objects.exclude(breeding_runs__state__in=_OPEN))


def _is_due(breed: Breed) -> bool:
    runs = BreedingRun.objects.filter(breed=breed).order_by("-number")
    last = runs.first()
    if last is not None and last.state == RunState.FAILED:
        return last.finished_at is None or last.finished_at < clock.now() - AFTER_FAILURE
    if last is None:
        return Dog.objects.filter(breed=breed).exists()
    return changes_since(last) > 0


def _claim(run_id: int) -> int | None:
    """Make the run ours: the number of our claim, or None when it is done or another's."""
    now = clock.now()
    free = Q(state=RunState.WAITING) | Q(state=RunState.RUNNING, lease_until__lt=now)
    claimed = BreedingRun.objects.filter(free, pk=run_id).update(
        state=RunState.RUNNING,
        started_at=now,
        lease_until=now + LEASE,
        claims=F("claims") + 1,
    )
    if not claimed:
        return None
    return BreedingRun.objects.values_list("claims", flat=True).get(pk=run_id)


def _sign_of_life(run_id: int, claim: int) -> None:
    ours = BreedingRun.objects.filter(pk=run_id, state=RunState.RUNNING, claims=claim)
    if not ours.update(lease_until=clock.now() + LEASE):
        raise _Lost


def _finish(run: BreedingRun, claim: int, inputs: Inputs, computed: Computed) -> None:
    """Store everything in one transaction, unless the run is another worker's by now."""
    fingerprint = inputs.fingerprint()
    # Before the columns of the run that said them are let go.
    kept = forecasts_to_keep(run.breed, inputs)
    with transaction.atomic():
        ours = BreedingRun.objects.filter(pk=run.pk, state=RunState.RUNNING, claims=claim)
        done = ours.update(
            state=RunState.DONE,
            finished_at=clock.now(),
            lease_until=None,
            ledger_seq=inputs.ledger_seq,
            other_breeds=inputs.other_breeds,
            inputs_sha256=fingerprint,
            program_version=__version__,
            dogs=len(inputs.dog),
            mean_inbreeding=computed.mean_inbreeding,
        )
        if not done:
            raise _Lost
        forecasts = keep_and_check(run, inputs, computed.traits, kept)
        results = store(run=run, pedigree=computed.pedigree, traits=computed.traits)
        BreedingRun.objects.filter(pk=run.pk).update(results_sha256=results)
        append(
            by=Actor.system(),
            action="breeding.run",
            subject=f"breed:{run.breed.slug}"[:40],
            changes={
                "number": Change(None, run.number),
                "dogs": Change(None, len(inputs.dog)),
                "inputs_sha256": Change(None, fingerprint),
                "results_sha256": Change(None, results),
                "variances": Change(None, _variances(computed.traits)),
                **forecasts,
            },
        )


def _variances(traits: tuple[TraitResult, ...]) -> dict[str, dict[str, str]]:
    """Each trait's variances as the ledger holds numbers: as text, to the last digit."""
    return {
        of.slug: {
            "additive": repr(of.found.variances.additive),
            "litter": repr(of.found.variances.litter),
            "residual": repr(of.found.variances.residual),
            "from": str(of.found.source),
        }
        for of in traits
        if of.found is not None
    }


def _fail(run_id: int, claim: int, words: str) -> None:
    BreedingRun.objects.filter(pk=run_id, state=RunState.RUNNING, claims=claim).update(
        state=RunState.FAILED, finished_at=clock.now(), lease_until=None, error=words
    )


def _loop_words(inputs: Inputs, error: PedigreeLoopError) -> str:
    keys = [int(inputs.dog[place]) for place in error.places]
    names = dict(Dog.objects.filter(pk__in=keys).values_list("pk", "name"))
    return _(
        "The pedigree goes round in a circle: %(dogs)s. Each is a parent of the one before it."
        " Correct a parent of one of them."
    ) % {"dogs": ", ".join(names[key] for key in keys)}


def _failure_words(error: Exception) -> str:
    return _("The computation broke off (%(kind)s: %(words)s). It is tried again in an hour.") % {
        "kind": type(error).__name__,
        "words": str(error)[:300],
    }
