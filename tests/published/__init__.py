"""Outside facts: each check stands beside its source, and says how far that source was seen.

Statuses: ``confirmed``, the value was seen in a text of the source; ``reproduced``, it was computed
again from the inputs by an independent routine; ``memory``, neither. A fact of the trade without a
published source is marked "common practice, no source". An expectation is never fitted to the code.
"""
