"""What to do now, for one instrument: options, their dates, what they cost, what can hurt."""
