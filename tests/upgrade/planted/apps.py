"""The app, so that it can be installed."""

from django.apps import AppConfig


class PlantedConfig(AppConfig):
    """Nothing but migrations."""

    name = "tests.upgrade.planted"
    label = "planted"
