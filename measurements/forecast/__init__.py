"""From facts to conclusions: the prior, the outlook of each instrument, its record, and how they are stored."""
