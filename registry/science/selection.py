"""Selection: how far a breed moves when the better dogs become parents, and what it costs.

Intensities, the breeder's equation, and a look some generations ahead with finite numbers of
parents, the loss of variance that selection itself brings, and inbreeding. Which dogs are chosen,
and what has happened already, does not belong here (``trend``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from scipy.integrate import trapezoid
from scipy.special import betaln, expit, ndtri

from registry.science.mixed_model import Variances
from registry.science.scale import Better

_STANDARD = NormalDist()
_NODES = np.linspace(-40.0, 40.0, 4001)
MOST_GENERATIONS = 30


def truncation_point(share: float) -> float:
    """Return the value, in standard deviations, that the best ``share`` of many dogs exceed."""
    if not 0 < share <= 1:
        raise ValueError("the share of dogs kept must be more than 0 and at most 1")
    return -math.inf if share == 1 else _STANDARD.inv_cdf(1 - share)


def intensity(share: float) -> float:
    """Return how many standard deviations the best ``share`` of many dogs lie above all.

    φ(x) / share, x the truncation point. Source: Falconer & Mackay (1996), ch. 11 and table A.
    """
    point = truncation_point(share)
    return 0.0 if share == 1 else _STANDARD.pdf(point) / share


def intensity_of(selected: int, tested: int) -> float:
    """Return the intensity when the best ``selected`` of ``tested`` dogs are kept, exactly.

    It is the mean of the best s of n normal order statistics. With U distributed as
    Beta(n − s, s), the share of dogs up to the best one left out, it is n/s · E φ(Φ⁻¹(U)): each
    dog of n is kept with the probability that fewer than s of the others exceed it, integrated by
    parts. Integrated by the trapezoidal rule over the logit of U. Source of the definition: Burrows
    (1972), Biometrics 28:1091-1100. Raises ValueError unless 1 ≤ selected ≤ tested.
    """
    if not 1 <= selected <= tested:
        raise ValueError(f"{selected} of {tested} dogs cannot be kept")
    if selected == tested:
        return 0.0
    left, kept = tested - selected, selected
    logit = math.log(left / kept) + _NODES * math.sqrt(1 / left + 1 / kept)
    # The density of the logit of a Beta variable, in logarithms: no power under- or overflows.
    density = np.exp(
        -left * np.logaddexp(0, -logit) - kept * np.logaddexp(0, logit) - betaln(left, kept)
    )
    tail = ndtri(np.minimum(expit(logit), expit(-logit)))
    height = np.exp(-(tail**2) / 2) / math.sqrt(2 * math.pi)
    return tested / kept * float(trapezoid(density * height, logit))


def response(*, intensity: float, heritability: float, sd: float) -> float:
    """Return the change of the mean in one generation: i · h² · σp, the breeder's equation.

    ``sd`` is that of the records. Source: Falconer & Mackay (1996), equation 11.3.
    """
    return intensity * heritability * sd


class Response(NamedTuple):
    """The change of the mean towards the better end; ``per_year`` is None without an interval."""

    per_generation: float
    per_year: float | None


def response_of_both(
    *,
    sires: float,
    dams: float,
    heritability: float,
    sd: float,
    generation_years: float | None = None,
) -> Response:
    """Return the response to intensities that differ between the sexes: ½(i of sires + i of dams).

    ``generation_years`` is the mean age of parents when their puppies are born. Source: Falconer &
    Mackay (1996), ch. 11.
    """
    if generation_years is not None and generation_years <= 0:
        raise ValueError("a generation takes more than no time")
    change = response(intensity=(sires + dams) / 2, heritability=heritability, sd=sd)
    return Response(change, None if generation_years is None else change / generation_years)


@dataclass(frozen=True)
class Plan:
    """How many dogs are tested, and how many of them kept as parents, in every generation.

    ``accuracy`` (-1 to 1) is how well what the parents are chosen by agrees with their own records:
    1 when the best records are kept, 0 when chance decides. ``unevenness`` (1 or more) is how many
    times as fast inbreeding rises as it would if each parent kept had the same chances.
    """

    males_tested: int
    sires_kept: int
    females_tested: int
    dams_kept: int
    accuracy: float = 1.0
    unevenness: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what cannot be: raises ValueError."""
        for kept, tested in (
            (self.sires_kept, self.males_tested),
            (self.dams_kept, self.females_tested),
        ):
            if not 1 <= kept <= tested:
                raise ValueError(f"{kept} of {tested} tested dogs cannot be kept")
        if not (-1 <= self.accuracy <= 1 and self.unevenness >= 1):
            raise ValueError("an accuracy is -1 to 1, and nothing is more even than even")

    @property
    def intensity(self) -> float:
        """By how many standard deviations the parents' records exceed the mean, of both sexes."""
        sires = intensity_of(self.sires_kept, self.males_tested)
        dams = intensity_of(self.dams_kept, self.females_tested)
        return self.accuracy * (sires + dams) / 2

    @property
    def rate_of_inbreeding(self) -> float:
        """The inbreeding that one generation adds: 1/(8 Nm) + 1/(8 Nf), times the unevenness.

        Source: Wright (1931), Genetics 16:97-159. It supposes that each parent kept has the same
        chances. Parents selected come from the same families more often, so this is the least:
        simulated breeds show a sixth to a half more.
        """
        even = 1 / (8 * self.sires_kept) + 1 / (8 * self.dams_kept)
        return min(self.unevenness * even, 0.5)


@dataclass(frozen=True)
class Generation:
    """Dogs born in one generation; number 0 is today's, before any selection.

    ``mean`` and ``sd`` are of their records, in the trait's unit; ``additive`` is the variance of
    their breeding values, ``inbreeding`` their expected coefficient.
    """

    number: int
    mean: float
    sd: float
    additive: float
    heritability: float
    inbreeding: float
    better: Better

    def share_better_than(self, value: float) -> float:
        """Return the share (0 to 1) of its dogs whose record is expected better than a value."""
        below = _STANDARD.cdf((value - self.mean) / self.sd)
        return below if self.better == "lower" else 1.0 - below


def ahead(
    *,
    mean: float,
    variances: Variances,
    better: Better,
    plan: Plan,
    generations: int,
    inbreeding: float = 0.0,
) -> tuple[Generation, ...]:
    """Return today's generation and so many to come, if the best by their own record are kept.

    ``variances`` are those of dogs that are not inbred, ``inbreeding`` is today's mean. In each
    generation the mean moves by ½(i of sires + i of dams)·h²·σp with exact finite intensities, and
    the variance of breeding values becomes

        ½(1 − F)·σ²a + ¼(1 − k·h²)(1 − 1/Nm)·σ²A + the same with the dams' k and Nf,

    the Mendelian part and each sex's share of what is left between the selected parents, with
    k = i(i − x): the loss by selection of Bulmer (1971), Am Nat 105:201-211; see Falconer & Mackay
    (1996), ch. 11. (1 − 1/N) is what a sample of N parents keeps of its variance. F grows by
    ``plan.rate_of_inbreeding``. All from memory, and held to simulation in the tests.

    Chosen by something that agrees with the records with an accuracy c, they move c times as far,
    and lose c² of k: the same selection, of a trait correlated with the record.

    It supposes selection by own records alone, many genes of small effect, random mating among the
    parents, generations apart, an environment as today's, and a scale without end: the caller says
    where the trait's scale ends. Today's dogs are taken as if nobody had been selected before them;
    in a breed long selected the first step is a little smaller. A loss of fitness by inbreeding is
    left out. Raises ValueError for a number of generations that is not 0 to ``MOST_GENERATIONS``.
    """
    if not 0 <= generations <= MOST_GENERATIONS:
        raise ValueError(f"look 0 to {MOST_GENERATIONS} generations ahead")
    towards = -1.0 if better == "lower" else 1.0
    steps = plan.intensity
    now = _generation(0, mean, (1 - inbreeding) * variances.additive, inbreeding, variances, better)
    found = [now]
    for number in range(1, generations + 1):
        gain = response(intensity=steps, heritability=now.heritability, sd=now.sd)
        mendelian = (1 - now.inbreeding) / 2 * variances.additive
        now = _generation(
            number,
            now.mean + towards * gain,
            mendelian + _left_between_parents(now, plan),
            now.inbreeding + plan.rate_of_inbreeding * (1 - now.inbreeding),
            variances,
            better,
        )
        found.append(now)
    return tuple(found)


def _generation(
    number: int,
    mean: float,
    additive: float,
    inbreeding: float,
    variances: Variances,
    better: Better,
) -> Generation:
    total = additive + variances.litter + variances.residual
    return Generation(
        number=number,
        mean=mean,
        sd=math.sqrt(total),
        additive=additive,
        heritability=additive / total,
        inbreeding=inbreeding,
        better=better,
    )


def _left_between_parents(now: Generation, plan: Plan) -> float:
    """Return the variance that the puppies get from the differences between their parents."""
    return sum(
        now.additive
        / 4
        * (1 - plan.accuracy**2 * _loss(kept / tested) * now.heritability)
        * (1 - 1 / kept)
        for kept, tested in (
            (plan.sires_kept, plan.males_tested),
            (plan.dams_kept, plan.females_tested),
        )
    )


def _loss(share: float) -> float:
    """Return k = i(i − x), the share of the records' variance that truncation takes away."""
    if share == 1:
        return 0.0
    steps = intensity(share)
    return steps * (steps - truncation_point(share))
