"""What may be expected of a pair's puppies: the distribution of their records.

Breeding values with their uncertainty in, a normal distribution of records out (a record is the
worse side, in the trait's unit), and the same as fifty equally likely puppies on the
trait's scale. How a pair is chosen, and every word about it, does not belong here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

from registry.science.dots import CIRCLES
from registry.science.mixed_model import Variances
from registry.science.scale import Better, nearest_step

_STANDARD = NormalDist()


@dataclass(frozen=True)
class Circles:
    """Equally likely puppies as whole steps of the trait's scale, lowest first.

    ``edge`` is the first step on the higher side of the breed's middle: of two puppies left and
    right of the middle no rounding puts both on one side. ``at_lowest`` and ``at_highest`` count
    the puppies that were moved onto the scale's end: the normal distribution goes on beyond it.
    """

    steps: tuple[int, ...]
    edge: int
    at_lowest: int
    at_highest: int


@dataclass(frozen=True)
class Forecast:
    """The distribution of the puppies' records: normal, with this mean and these four variances.

    ``parent_variance``: both parents' breeding values are estimates, and their errors are handed on
    by halves. ``mendelian_variance``: which half of its parents' genes a puppy gets.
    ``litter_variance``: what all puppies of this litter share besides genes. ``residual_variance``:
    all the rest. ``inbreeding`` is the puppies' expected coefficient.
    """

    mean: float
    parent_variance: float
    mendelian_variance: float
    litter_variance: float
    residual_variance: float
    inbreeding: float
    better: Better

    @property
    def sd(self) -> float:
        """The standard deviation of one puppy's record around the mean."""
        return math.sqrt(self._shared_variance + self._own_variance)

    @property
    def sd_between_littermates(self) -> float:
        """The standard deviation of one puppy's record around the mean of its own litter.

        It remains however well the parents are known.
        """
        return math.sqrt(self._own_variance)

    @property
    def sd_of_the_litters_mean(self) -> float:
        """The standard deviation of the mean of an endlessly large litter."""
        return math.sqrt(self._shared_variance)

    def quantile(self, share: float) -> float:
        """Return the record below which this share (0 to 1, both excluded) of puppies is expected.

        Below on the scale, whichever end is better. Raises ValueError for another share.
        """
        if not 0 < share < 1:
            raise ValueError("a quantile needs a share between 0 and 1")
        return self.mean + self.sd * _STANDARD.inv_cdf(share)

    def interval(self, share: float = 0.8) -> tuple[float, float]:
        """Return the middle range that holds one puppy's record with this probability."""
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)

    def mean_interval(self, puppies: int | None = None, share: float = 0.8) -> tuple[float, float]:
        """Return the range that holds the mean of so many littermates with this probability.

        None stands for an endlessly large litter: then only the parents' uncertainty and what the
        litter shares are left. Raises ValueError below one puppy.
        """
        if puppies is not None and puppies < 1:
            raise ValueError("a litter has one puppy or more")
        own = self._own_variance / puppies if puppies else 0.0
        half = math.sqrt(self._shared_variance + own) * _STANDARD.inv_cdf((1 + share) / 2)
        return self.mean - half, self.mean + half

    def share_better_than(self, middle: float, *, best: float | None = None) -> float:
        """Return the share (0 to 1) of puppies whose record is expected better than ``middle``.

        A record equal to it counts half. ``best`` is the best value of the scale: nothing is better
        than a middle that lies there, although the normal distribution goes on.
        """
        if best is not None and not _is_better(best, middle, self.better):
            return 0.0
        below = _STANDARD.cdf((middle - self.mean) / self.sd)
        return below if self.better == "lower" else 1.0 - below

    def circles(
        self, middle: float, *, resolution: Decimal, lowest: Decimal, highest: Decimal
    ) -> Circles:
        """Return fifty equally likely puppies: the middles of fifty equal shares of them.

        Those beyond the scale's ends (``lowest``, ``highest``) are moved onto them and counted.
        ``middle`` is the breed's middle record, which parts the circles.
        """
        first, last = nearest_step(lowest, resolution), nearest_step(highest, resolution)
        # Rounded first: 0.42 / 0.01 is a little more than 42.
        edge = math.ceil(round(middle / float(resolution), 6))
        steps, beyond = [], []
        for at in range(CIRCLES):
            value = self.quantile((at + 0.5) / CIRCLES)
            nearest = round(value / float(resolution))
            step = min(nearest, edge - 1) if value < middle else max(nearest, edge)
            steps.append(min(max(step, first), last))
            beyond.append(nearest)
        return Circles(
            steps=tuple(steps),
            edge=edge,
            at_lowest=sum(step < first for step in beyond),
            at_highest=sum(step > last for step in beyond),
        )

    @property
    def _shared_variance(self) -> float:
        return self.parent_variance + self.litter_variance

    @property
    def _own_variance(self) -> float:
        return self.mendelian_variance + self.residual_variance


def forecast(
    *,
    sire_value: float,
    dam_value: float,
    sire_error_variance: float,
    dam_error_variance: float,
    sire_inbreeding: float,
    dam_inbreeding: float,
    kinship: float,
    variances: Variances,
    base: float,
    better: Better,
) -> Forecast:
    """Return the distribution of the records of a pair's puppies.

    Mean: base + ½(V of sire + V of dam), where ``base`` is the expected record of a dog whose
    breeding value is 0. Variance: ¼(PEV of sire + PEV of dam) + ½(1 − ½(F of sire + F of dam))·σ²a
    + σ²c + σ²e. The puppies' inbreeding is their parents' ``kinship``. Source: Falconer & Mackay
    (1996), Introduction to Quantitative Genetics, ch. 10 and 15; Mrode (2014), Linear Models for
    the Prediction of Animal Breeding Values, sections 2.3 and 3.3.

    Left out: the covariance of both parents' prediction errors, which would add half of itself.
    Mates are over- or underestimated together, the more so the closer their kinship: there it is
    positive, and the distribution is a little too narrow (in simulated breeds its standard
    deviation by less than 1 in 100 for unrelated mates, by 3 for brother and sister). Mates that
    already have tested puppies together share what is known of these: there it is negative, and the
    distribution is a little too wide. The error of ``base``, and a loss of fitness by inbreeding,
    are left out too.

    Raises ValueError for numbers that no pair can have.
    """
    if min(sire_error_variance, dam_error_variance) < 0:
        raise ValueError("an error variance cannot be negative")
    if not all(0 <= each <= 1 for each in (sire_inbreeding, dam_inbreeding, kinship)):
        raise ValueError("inbreeding and kinship lie between 0 and 1")
    return Forecast(
        mean=base + (sire_value + dam_value) / 2,
        parent_variance=(sire_error_variance + dam_error_variance) / 4,
        mendelian_variance=(1 - (sire_inbreeding + dam_inbreeding) / 2) / 2 * variances.additive,
        litter_variance=variances.litter,
        residual_variance=variances.residual,
        inbreeding=kinship,
        better=better,
    )


def _is_better(one: float, other: float, better: Better) -> bool:
    return one < other if better == "lower" else one > other
