"""Settings of the measured site: the registry's own, and one more address, an empty view."""

from registry.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.addresses"
