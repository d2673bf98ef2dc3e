"""Two changes; the second goes wrong."""
