"""Tests of the registrar's pages."""
