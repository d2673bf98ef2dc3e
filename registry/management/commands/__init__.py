"""What the secretary runs at the command line; each command is a thin way to desk or ledger."""
