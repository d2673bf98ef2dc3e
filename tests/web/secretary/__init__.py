"""Tests of the secretary's pages."""
