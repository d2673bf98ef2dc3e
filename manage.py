#!/usr/bin/env python
"""Command line of the registry: every administrative command starts here."""

import os
import sys

from django.core.management import execute_from_command_line


def main() -> None:
    """Run one management command with the registry's settings."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
