"""Tests of the settings, the environment readers, the checks, the middleware and the log."""
