"""System checks: one numbered finding for each setting or database state that is unsafe."""
