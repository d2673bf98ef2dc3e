"""What each dog's relatives say of its breeding value, in messages along the pedigree.

Were the fixed effects known, each pair of parents would hear from its offspring what they say of
the parents' mean; each parent from its pairs; each offspring from its pair. Messages are precisions
(one over a variance). They give the exact error variances where no two dogs are related by two
ways, and nearly so in a breed; the one correction made is for parents related to each other, whose
errors vary together in the measure of their offspring's inbreeding. Inside a litter nothing is
approximated: there the mean of the parents and the litter's effect are known together.

Source of the idea: Pearl (1988), Probabilistic Reasoning in Intelligent Systems, ch. 4 (messages in
a tree). Units and letters are those of ``reduced_equations``: variances are in units of the
residual one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from registry.science.fixed_effects import sums_by
from registry.science.mixed_model import Codes, Numbers, Records, Variances
from registry.science.reduced_equations import Dogs, runs_numbered

_MOST_SWEEPS = 40
_SETTLED = 1e-5
"""The messages have settled when no parent's variance changes by more than this part."""
_NOTHING = 1e-300
"""Stands for no information, where one over it is taken."""


@dataclass(frozen=True, eq=False)
class Litters:
    """The f pairs of parents, their l recorded litters, and where each dog belongs."""

    pair: Codes
    """(n,): the pair each dog is born of; two unknown parents are a pair too."""
    cell: Codes
    """(n,): the litter each recorded dog is of, l for none."""
    sire: Codes
    dam: Codes
    """(f,): parents' numbers, m for an unknown one."""
    spread: Numbers
    """(f,): the variance of the Mendelian part of their offspring."""
    together: Numbers
    """(f,): how the two parents' errors vary together, as a part of the product of the two."""
    outside: Numbers
    """(f,): weights of the records of offspring without litter that are no parents."""
    pair_of_cell: Codes
    inside: Numbers
    """(l,): weights of the records of the litter's dogs that are no parents."""
    place: Codes
    """(m,): where each parent stands among the dogs."""
    own: Numbers
    """(m,): the weight of each parent's own record, 0 for none."""
    prior: Numbers
    """λ, the precision of a founder's value, and κ, that of a litter's effect."""

    @classmethod
    def of(
        cls,
        dogs: Dogs,
        inbreeding: Numbers,
        records: Records,
        weight: Numbers,
        variances: Variances,
    ) -> Litters:
        """Return the litters; ``weight`` is what is left of each record's, (r,)."""
        n, m = len(dogs.number), dogs.parents
        code, pair = runs_numbered(dogs.sire * (m + 1) + dogs.dam)
        sire, dam = np.divmod(code, m + 1)
        place = np.empty(m, dtype=np.int64)
        bred = np.flatnonzero(dogs.number < m)
        place[dogs.number[bred]] = bred
        f_of_parent = np.append(inbreeding[place], -1.0)
        ratio = variances.additive / variances.residual
        of_offspring = np.zeros(len(code))
        of_offspring[pair] = inbreeding
        factor = np.ones(len(code))
        if dogs.factor is not None:
            factor[pair] = dogs.factor
        # Before any record the variances are (1 + F)·ratio and the covariance is 2F′·ratio: records
        # shrink the two variances, and the covariance by both.
        prior = (1.0 + f_of_parent[sire]) * (1.0 + f_of_parent[dam]) * ratio
        has_litter = (records.litter >= 0) & (variances.litter > 0)
        recorded = records.dog[has_litter]
        litters = int(records.litter.max(initial=0)) + 1
        cells, number = runs_numbered(pair[recorded] * litters + records.litter[has_litter])
        cell = np.full(n, len(cells))
        cell[recorded] = number
        by_dog, own = np.zeros(n), np.zeros(m)
        by_dog[records.dog] = weight
        own[:] = by_dog[place]
        by_dog[place] = 0.0
        inside = sums_by(cell, by_dog, len(cells) + 1)[:-1]
        return cls(
            pair=pair,
            cell=cell,
            sire=sire,
            dam=dam,
            spread=factor * ratio * (0.5 - 0.25 * (f_of_parent[sire] + f_of_parent[dam])),
            together=np.divide(2.0 * of_offspring, prior, out=np.zeros(len(code)), where=prior > 0),
            outside=sums_by(pair, np.where(cell == len(cells), by_dog, 0.0), len(code)),
            pair_of_cell=cells // litters,
            inside=inside,
            place=place,
            own=own,
            prior=np.array(
                [1.0 / ratio, variances.residual / variances.litter if len(cells) else 0.0]
            ),
        )


class Joint(NamedTuple):
    """The precision of a mean of parents and a litter's effect together."""

    mean: Numbers
    both: Numbers
    effect: Numbers

    def of_mean(self) -> Numbers:
        """Return what is said of the mean alone."""
        return np.asarray(self.mean - self.both**2 / self.effect)


@dataclass(frozen=True, eq=False)
class Settled:
    """Variances left open by all that is said, were the fixed effects known."""

    parent: Numbers
    """(m,): of each parent's value."""
    mean: Numbers
    """(f,): of each pair's mean."""
    litter: Joint
    """(l,): precisions by litter."""

    def of_values(self, litters: Litters, spread: Numbers, gain: Numbers) -> Numbers:
        """Return the variances of all dogs' values, (n,), given d/λ and k of those without pups.

        a = (1 − k) z a + k (y − c) and its own error, (1 − k) d/λ.
        """
        mean, both, effect = self.litter
        scale = 1.0 / (mean * effect - both**2)
        of_mean, covariance, of_effect = (
            np.append(part * scale, 0.0) for part in (effect, -both, mean)
        )
        cell, is_inside = litters.cell, litters.cell < len(mean)
        within = np.where(is_inside, of_mean[cell], self.mean[litters.pair])
        found = (1.0 - gain) * spread + (1.0 - gain) ** 2 * within
        found += gain**2 * of_effect[cell] - 2.0 * gain * (1.0 - gain) * covariance[cell]
        found[litters.place] = self.parent
        return found


def settled(litters: Litters) -> Settled:
    """Return the variances once the messages have settled.

    ``above`` is what each parent hears from its parents, littermates and, in a litter, its own
    record; ``below`` is what it hears from its offspring and an own record without litter. A
    message to a dog leaves out what that dog said itself.
    """
    m, f = len(litters.place), len(litters.sire)
    founder, kappa = litters.prior
    has_sire, has_dam = litters.sire < m, litters.dam < m
    pair, cell = litters.pair[litters.place], litters.cell[litters.place]
    alone, cells = cell == len(litters.inside), len(litters.inside)
    is_one = has_sire & (litters.sire == litters.dam)
    spread = litters.spread[pair]
    own_alone, own = np.where(alone, litters.own, 0.0), np.where(alone, 0.0, litters.own)
    records = litters.inside + kappa
    above, below = np.full(m + 1, founder), np.append(own_alone, 0.0)
    to_sire, to_dam, variance = np.zeros(f), np.zeros(f), np.full(m, np.inf)
    for _sweep in range(_MOST_SWEEPS):
        told = _told(spread, own, below[:m])
        mean, both, effect = (sums_by(cell, part, cells + 1)[:-1] for part in told)
        whole = Joint(litters.inside + mean, litters.inside + both, records + effect)
        of_litter = whole.of_mean()
        by_itself = np.where(alone, told.mean, 0.0)
        said = litters.outside + sums_by(litters.pair_of_cell, of_litter, f)
        said += sums_by(pair, by_itself, f)
        sire = has_sire / (above[litters.sire] + below[litters.sire] - to_sire)
        dam = has_dam / (above[litters.dam] + below[litters.dam] - to_dam)
        to_sire = 0.25 * has_sire / (_inverse(said) + 0.25 * dam)
        to_dam = 0.25 * has_dam / (_inverse(said) + 0.25 * sire)
        # A pool that stands for both parents is the mean itself, and hears it in two halves.
        to_sire[is_one] = to_dam[is_one] = 0.5 * said[is_one]
        below[:m] = own_alone
        below += sums_by(litters.sire, to_sire, m + 1) + sums_by(litters.dam, to_dam, m + 1)
        sire = has_sire / (above[litters.sire] + below[litters.sire] - to_sire)
        dam = has_dam / (above[litters.dam] + below[litters.dam] - to_dam)
        mean = _inverse(0.25 * (sire + dam) + 0.5 * litters.together * sire * dam)
        one = litters.sire[is_one]
        mean[is_one] = above[one] + below[one] - to_sire[is_one] - to_dam[is_one]
        others = mean + said
        beside = others[litters.pair_of_cell] - of_litter + whole.mean
        rest = Joint(
            np.where(alone, others[pair], np.append(beside, 0.0)[cell]) - told.mean,
            np.append(whole.both, 0.0)[cell] - told.both,
            np.append(whole.effect, 1.0)[cell] - told.effect,
        )
        above[:m] = _heard(spread, own, rest)
        former, variance = variance, 1.0 / (above[:m] + below[:m])
        if (np.abs(variance - former) <= _SETTLED * variance).all():
            break
    return Settled(variance, 1.0 / others, Joint(beside, whole.both, whole.effect))


def _told(spread: Numbers, own: Numbers, below: Numbers) -> Joint:
    """Return what each parent tells of its own parents' mean and its litter's effect.

    Its value is taken out of (a − mean)²/spread + own (a + effect)² + below a².
    """
    precision = 1.0 / spread + own + below
    return Joint(
        (own + below) / (spread * precision),
        own / (spread * precision),
        own * (1.0 / spread + below) / precision,
    )


def _heard(spread: Numbers, own: Numbers, rest: Joint) -> Numbers:
    """Return what each parent hears of itself: mean and effect are taken out of the same sum."""
    mean, effect = rest.mean + 1.0 / spread, rest.effect + own
    # Divided by the mean's precision, which has no end where both parents are unknown.
    left = effect - rest.both * (rest.both / mean)
    along = own + rest.both / (mean * spread)
    return np.asarray(1.0 / spread + own - 1.0 / (spread**2 * mean) - along**2 / left)


def _inverse(numbers: Numbers) -> Numbers:
    """Return one over each number; nearly without end for none at all."""
    return 1.0 / np.maximum(numbers, _NOTHING)
