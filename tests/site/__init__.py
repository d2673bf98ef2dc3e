"""Tests of the site as a whole: what holds for every route, template and static file."""
