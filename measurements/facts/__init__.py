"""What is on record, as arrays: rows, the newest figures, work undone; every fit starts here."""
