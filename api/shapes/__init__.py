"""What goes in and out: each JSON shape stands beside the function that fills it, and tests hold
every answer to it. No rule lives here."""
