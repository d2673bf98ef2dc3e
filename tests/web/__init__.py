"""Tests of the HTML face."""
