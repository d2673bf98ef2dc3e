"""Tests of the JSON face."""
