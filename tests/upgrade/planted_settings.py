"""The registry's own settings, with one app more whose migrations go wrong."""

from registry.settings import *  # noqa: F403
from registry.settings import INSTALLED_APPS

INSTALLED_APPS = [*INSTALLED_APPS, "tests.upgrade.planted"]
