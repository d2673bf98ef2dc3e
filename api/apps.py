"""The Django application of the JSON face."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class ApiConfig(AppConfig):
    """Serializers, views and problems of the JSON face."""

    name = "api"
    label = "api"
    verbose_name = _("Programming interface")
