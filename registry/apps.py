"""The Django application of the registry; what must run once at start hooks in here."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class RegistryConfig(AppConfig):
    """Models, desk, pages and commands of the registry."""

    name = "registry"
    label = "registry"
    verbose_name = _("Registry")
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register the system checks."""
        from registry import checks  # noqa: F401, PLC0415
