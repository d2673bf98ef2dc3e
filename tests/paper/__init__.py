"""Tests of the certificate on paper."""
