"""What is on record about a customer: shown, taken out, erased."""
