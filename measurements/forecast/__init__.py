"""From facts to conclusions: the prior, each outlook and its record, and how they are stored."""
