"""What a security standard asks of the registry, requirement by requirement, and tests for what no
room's own tests show."""
