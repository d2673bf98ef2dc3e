"""Files that mean harm or were made carelessly, built here byte by byte; nothing is copied."""
