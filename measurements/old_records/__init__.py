"""Old records in, the whole shop out: planned first, then written all at once, undone as a whole."""
