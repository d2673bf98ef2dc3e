"""How long the counts of a million evaluations take to be built anew, and how much memory.

Measured are the comparison (``rebuild_distributions --check``: read, count, compare with cells and
counted values) and the full rebuild with every cell and histogram written back. The reference only
reads the same rows with pandas and counts them by one groupby: it compares and writes nothing, and
does not look for each dog's latest examination.
"""

from __future__ import annotations

import resource
import warnings

import pandas as pd
from django.db import connection

from registry.desk import distributions
from registry.desk.distributions import compare_distributions, rebuild_distributions
from registry.ledger import Actor
from registry.models import Evaluation
from tests.bench.rounds import QUICK, Row, Turns, take_turns

ROUNDS = 2 if QUICK else 5


def run() -> list[Row]:
    """Return the rows of the rebuild: check, full write, memory of each."""
    # The first pass alone tells the memory: afterwards the reference's own peak hides it.
    assert compare_distributions().agrees
    check_peak = _peak_mib()
    _rebuild()
    write_peak = _peak_mib()
    check, write, reference = take_turns(
        [compare_distributions, _rebuild, _read_and_group], rounds=ROUNDS, warm=1
    )
    assert compare_distributions().agrees
    n = f"{Evaluation.objects.count():,} evaluations, {_readings():,} readings"
    against = "pandas: read_sql of the same rows, one groupby"
    return [
        Turns(check, reference).row(
            what="rebuild of the counts, comparing only (--check)",
            against=against,
            goal="<= 1.5",
            n=n,
            detail="nothing is written",
        ),
        Turns(write, reference).row(
            what="rebuild of the counts, everything written back",
            against=against,
            goal="<= 1.5",
            n=n,
            detail="cells and histograms are written, which the reference does not do",
        ),
        {
            "what": "peak memory of the rebuild, written back",
            "against": "1 GiB",
            "ratio": write_peak / 1024,
            "goal": "<= 1",
            "n": n,
            "detail": (
                f"{write_peak:.0f} MiB for the whole process; {check_peak:.0f} MiB comparing only"
            ),
        },
    ]


def _rebuild() -> None:
    with connection.cursor() as cursor:
        # One wrong cell: the rebuild writes the cells only when they differ.
        cursor.execute(
            "UPDATE registry_distributioncell SET dogs = dogs + 1"
            " WHERE id = (SELECT MIN(id) FROM registry_distributioncell)"
        )
    assert rebuild_distributions(by=Actor.system()).cell_difference is not None


def _read_and_group() -> pd.Series:
    sql = distributions.readings_sql()
    with warnings.catch_warnings():
        # It asks for another library's connection, and reads from this one as well.
        warnings.simplefilter("ignore", UserWarning)
        table = pd.read_sql(sql, connection.connection)
    table.columns = pd.Index(distributions.READING_COLUMNS)
    table["month"] = table["examined"] // 100
    return table.groupby(["breed", "trait", "sex", "month", "step"]).size()


def _readings() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM registry_reading")
        return int(cursor.fetchone()[0])


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
