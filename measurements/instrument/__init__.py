"""The page of one instrument, and who changed what of it."""
