"""Tests of the queries room."""
