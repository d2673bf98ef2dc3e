"""Make the ledger append-only in the database itself, and give it its head row."""

from typing import Any

from django.db import migrations

from registry.ledger import triggers


def install(apps: Any, schema_editor: Any) -> None:
    """Create the triggers."""
    triggers.install(schema_editor.connection)


def uninstall(apps: Any, schema_editor: Any) -> None:
    """Drop the triggers."""
    triggers.uninstall(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = (("registry", "0001_foundation"),)

    operations = (migrations.RunPython(install, uninstall),)
