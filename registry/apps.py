"""The Django application of the registry; what must run once at start hooks in here."""

from django.apps import AppConfig
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
        """Register the system checks, and have the ledger's triggers renewed after each migration.

        SQLite drops a table's triggers without a word whenever a migration rebuilds the table.
        """
        from registry import checks  # noqa: F401, PLC0415

        post_migrate.connect(_renew_triggers, sender=self)


def _renew_triggers(sender: AppConfig, using: str, **kwargs: object) -> None:
    from registry.ledger import triggers  # noqa: PLC0415

    connection = connections[using]
    if "registry_ledgertext" in connection.introspection.table_names():
        triggers.install(connection)
