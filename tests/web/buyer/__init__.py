"""Tests of the buyer's room."""
