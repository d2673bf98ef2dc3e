"""Soundline, a health registry that a breed club hosts itself.

The rooms below each open with a paragraph on what belongs in them. Arrows
point down only: web and commands use desk and queries, those use the ledger,
it uses models, and models use science.
"""

__version__ = "0.1.0"
