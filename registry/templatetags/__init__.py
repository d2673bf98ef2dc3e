"""Template filters of the parts."""
