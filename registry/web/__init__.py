"""The HTML face, a room per person. Views parse, call desk or queries, render; no rules here."""
