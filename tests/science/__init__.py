"""Tests of the pure arithmetic: no database, no clock, no files."""
