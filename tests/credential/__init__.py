"""Certificates that prove themselves."""
