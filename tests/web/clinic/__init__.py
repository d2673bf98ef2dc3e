"""Tests of the clinic's pages."""
