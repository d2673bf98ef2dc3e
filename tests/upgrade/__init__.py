"""The way from one version's tables to the next: whole, or not at all."""
