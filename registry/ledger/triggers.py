"""Database triggers that make the ledger append-only for everybody who uses the application's
database:
ORM, raw SQL, the admin, and SQLite's INSERT OR REPLACE.

SQLite drops a table's triggers when a migration rebuilds the table, so they are installed after
every
migration run and a system check looks for them.
"""

from __future__ import annotations

from typing import Any

NAMES = (
    "ledger_entry_no_update",
    "ledger_entry_no_delete",
    "ledger_entry_no_replace",
    "ledger_head_no_delete",
    "ledger_text_only_erased",
    "ledger_text_no_delete",
    "ledger_text_no_replace",
)
_NO_TRUNCATE = ("ledger_entry_no_truncate", "ledger_text_no_truncate", "ledger_head_no_truncate")
_TABLES = {
    "entry": "registry_ledgerentry",
    "head": "registry_ledgerhead",
    "text": "registry_ledgertext",
}


def _table_of(name: str) -> str:
    return _TABLES[name.split("_")[1]]


_SQLITE = {
    "ledger_entry_no_update": "BEFORE UPDATE ON registry_ledgerentry",
    "ledger_entry_no_delete": "BEFORE DELETE ON registry_ledgerentry",
    "ledger_entry_no_replace": (
        "BEFORE INSERT ON registry_ledgerentry"
        " WHEN EXISTS (SELECT 1 FROM registry_ledgerentry WHERE seq = NEW.seq)"
    ),
    "ledger_head_no_delete": "BEFORE DELETE ON registry_ledgerhead",
    "ledger_text_only_erased": (
        "BEFORE UPDATE ON registry_ledgertext WHEN NOT (NEW.id = OLD.id AND NEW.text = '' AND"
        " NEW.salt = '' AND NEW.entry_id = OLD.entry_id AND NEW.field = OLD.field"
        " AND NEW.erased_at IS NOT NULL)"
    ),
    "ledger_text_no_delete": "BEFORE DELETE ON registry_ledgertext",
    "ledger_text_no_replace": (
        "BEFORE INSERT ON registry_ledgertext WHEN EXISTS (SELECT 1 FROM registry_ledgertext"
        " WHERE id = NEW.id OR (entry_id = NEW.entry_id AND field = NEW.field))"
    ),
}

_POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'the ledger is append-only' USING ERRCODE = 'integrity_constraint_violation';
END $$
"""
_POSTGRES = {
    "ledger_entry_no_update": "BEFORE UPDATE ON registry_ledgerentry FOR EACH ROW",
    "ledger_entry_no_delete": "BEFORE DELETE ON registry_ledgerentry FOR EACH ROW",
    "ledger_entry_no_truncate": "BEFORE TRUNCATE ON registry_ledgerentry",
    "ledger_head_no_delete": "BEFORE DELETE ON registry_ledgerhead FOR EACH ROW",
    "ledger_head_no_truncate": "BEFORE TRUNCATE ON registry_ledgerhead",
    "ledger_text_only_erased": (
        "BEFORE UPDATE ON registry_ledgertext FOR EACH ROW WHEN (NOT (NEW.id = OLD.id AND"
        " NEW.text = '' AND NEW.salt = '' AND NEW.entry_id = OLD.entry_id"
        " AND NEW.field = OLD.field AND NEW.erased_at IS NOT NULL))"
    ),
    "ledger_text_no_delete": "BEFORE DELETE ON registry_ledgertext FOR EACH ROW",
    "ledger_text_no_truncate": "BEFORE TRUNCATE ON registry_ledgertext",
}


def install(connection: Any) -> None:
    """Create every trigger afresh, and the head row if it is missing."""
    uninstall(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
            for name, when in _POSTGRES.items():
                cursor.execute(f"CREATE TRIGGER {name} {when} EXECUTE FUNCTION ledger_refuse()")
        else:
            for name, when in _SQLITE.items():
                cursor.execute(
                    f"CREATE TRIGGER {name} {when}"
                    " BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END"
                )
        cursor.execute(
            "INSERT INTO registry_ledgerhead (id, seq, hash) SELECT 1, 0, %s"
            " WHERE NOT EXISTS (SELECT 1 FROM registry_ledgerhead WHERE id = 1)",
            ["0" * 64],
        )


def uninstall(connection: Any) -> None:
    """Drop every trigger; for tests that empty tables between them."""
    with connection.cursor() as cursor:
        for name in (*NAMES, *_NO_TRUNCATE):
            on = f" ON {_table_of(name)}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def missing(connection: Any) -> list[str]:
    """Names of triggers that should exist in this database and do not."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D'")
            wanted = set(_POSTGRES)
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            wanted = set(_SQLITE)
        found = {row[0] for row in cursor.fetchall()}
    return sorted(wanted - found)
