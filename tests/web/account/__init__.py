"""Tests of sign-in and account pages."""
