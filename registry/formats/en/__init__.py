"""English formats."""
