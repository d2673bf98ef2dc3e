"""Archives of former states of the registry, and the key that signed their logs.

Each is of a small club (results, a film, a revoked certificate, a token, a signed log). The program
at the migration that a file is named after filled its database. What was put into 0011 was also
written by that program; the archives of the first two were written by a later one, as an upgrade
does before it migrates.
"""

from pathlib import Path

FOLDER = Path(__file__).parent
BACKUPS = ("0006_status_places", "0009_erased_owners", "0011_second_looks")
EXPORT = "0011_export"
LOG_KEY = "A" * 43 + "="
