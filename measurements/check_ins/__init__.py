"""Taking readings: what a reading can be, the form, what is said while it is typed."""
