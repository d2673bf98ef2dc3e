"""Made-up breeds with records, for the tests of breeding values."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from registry.science.breeding_values import Solution, breeding_values
from registry.science.inbreeding import inbreeding
from registry.science.mixed_model import Records, Variances
from registry.science.pedigree import Pedigree
from tests.bench.pedigrees import made_up

VARIANCES = Variances(additive=0.0045, litter=0.001, residual=0.0045)
Numbers = NDArray[np.float64]


class Breed(NamedTuple):
    pedigree: Pedigree
    inbreeding: Numbers
    records: Records

    def solved(self, variances: Variances = VARIANCES) -> Solution:
        return breeding_values(self.pedigree, self.inbreeding, self.records, variances)


def make_breed(dogs: int, *, seed: int = 1, recorded: float = 0.6, clinics: int = 12) -> Breed:
    """A breed in any order, with one-parent dogs, unknown litters and littermates that bred."""
    random = np.random.default_rng(seed)
    drawn = made_up(dogs, seed=seed).shuffled(seed)
    sire = np.where(random.random(dogs) < 0.05, -1, drawn.sire)
    dam = np.where(random.random(dogs) < 0.05, -1, drawn.dam)
    pedigree = Pedigree.of(sire, dam)
    dog = random.permutation(dogs)[: round(recorded * dogs)]
    r = len(dog)
    records = Records(
        dog=dog,
        value=0.4 + 0.1 * random.standard_normal(r),
        fixed={
            "sex": drawn.is_male[dog].astype(np.int64),
            "clinic": random.integers(0, clinics, r),
            "year": drawn.cohort[dog],
        },
        age=random.uniform(0.4, 3.0, r),
        litter=np.where(random.random(r) < 0.1, -1, drawn.litter[dog]),
    )
    return Breed(pedigree, inbreeding(pedigree), records)
