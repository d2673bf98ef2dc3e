"""How dates and numbers are written, a folder per language."""
