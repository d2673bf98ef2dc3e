"""Tests of the breeder's room."""
