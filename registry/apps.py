"""The Django application of the registry; what must run once at start hooks in here."""

from typing import Any

from django.apps import AppConfig
from django.core.management import call_command
from django.db import connections
from django.db.models.signals import post_migrate
from django.utils.translation import gettext_lazy as _


class RegistryConfig(AppConfig):
    """Models, desk, pages and commands of the registry."""

    name = "registry"
    label = "registry"
    verbose_name = _("Registry")
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register the system checks, and what a migration run must leave behind."""
        from registry import checks  # noqa: F401, PLC0415

        post_migrate.connect(install_ledger_triggers, sender=self)
        post_migrate.connect(create_shared_cache, sender=self)


def install_ledger_triggers(*, using: str, **kwargs: Any) -> None:
    """Create the append-only triggers again: SQLite drops them whenever it rebuilds a table."""
    from registry.ledger import triggers  # noqa: PLC0415

    connection = connections[using]
    if "registry_ledgerentry" in connection.introspection.table_names():
        triggers.install(connection)


def create_shared_cache(*, using: str, **kwargs: Any) -> None:
    """Create the table of the shared cache, which no migration knows of, when it is missing."""
    call_command("createcachetable", database=using, verbosity=0)
