"""Tests of the ledger room."""
