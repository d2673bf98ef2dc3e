"""The HTML face, a room per person. Views parse, call desk or queries, and render; no rules here."""
