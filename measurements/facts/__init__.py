"""What is on record, as arrays: rows, the newest figures, work undone. Every fit and every piece of advice starts here."""
