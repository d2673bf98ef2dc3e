"""Tests of backups, of putting them back, of leaving, and of the farewell site."""
