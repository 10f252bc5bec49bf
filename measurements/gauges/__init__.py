"""The shop's gauges, when they were checked, and whether one drifts."""
