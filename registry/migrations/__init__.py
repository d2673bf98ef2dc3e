"""Changes of the tables, one thing each, in order."""
