"""Work at the bench, step by step: what it should do, logging it, measuring again."""
