"""The measurements of ``make bench``: each against a reference in the same run, never timed tests.

A module ``bench_*`` has ``run() -> list[Row]`` and is run in a process of its own, on a scratch
database that ``club`` has filled. ``python -m tests.bench`` runs them all and writes the table into
DEVELOPERS.md.
"""
