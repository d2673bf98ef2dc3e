"""Journeys of whole persons through the live site, in a real browser."""
