"""Make dogs findable by misspelt names: a trigram index, each database's own kind."""

from typing import Any

from django.db import migrations

_POSTGRESQL = (
    "CREATE EXTENSION IF NOT EXISTS pg_trgm",
    "CREATE INDEX dog_name_trigrams ON registry_dog USING gin (search_name gin_trgm_ops)",
    "CREATE INDEX dog_name_prefix ON registry_dog (search_name text_pattern_ops)",
)
_SQLITE = (
    "CREATE VIRTUAL TABLE registry_dogname USING fts5(name, tokenize='trigram')",
    "CREATE VIRTUAL TABLE registry_dogname_terms USING fts5vocab(registry_dogname, row)",
    "INSERT INTO registry_dogname (rowid, name) SELECT id, search_name FROM registry_dog",
    "CREATE INDEX dog_name_prefix ON registry_dog (search_name)",
)


def install(apps: Any, schema_editor: Any) -> None:
    """Create the index of this database."""
    is_postgresql = schema_editor.connection.vendor == "postgresql"
    for statement in _POSTGRESQL if is_postgresql else _SQLITE:
        schema_editor.execute(statement)


def uninstall(apps: Any, schema_editor: Any) -> None:
    """Drop it; the extension stays, as other tables may use it."""
    schema_editor.execute("DROP INDEX IF EXISTS dog_name_prefix")
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP INDEX IF EXISTS dog_name_trigrams")
    else:
        schema_editor.execute("DROP TABLE IF EXISTS registry_dogname_terms")
        schema_editor.execute("DROP TABLE IF EXISTS registry_dogname")


class Migration(migrations.Migration):
    """One index each."""

    dependencies = (("registry", "0002_ledger_append_only"),)

    operations = (migrations.RunPython(install, uninstall),)
