"""The clinic's face: find the dog, fill in a draft section by section, send it, follow what becomes
of it."""
