"""Tests, arranged as the rooms they test."""
