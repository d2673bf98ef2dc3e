"""Every read that is more than a get: querysets and frozen dataclasses for pages, API and desk. No
writes."""
