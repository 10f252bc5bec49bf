"""The joint sheet: what a change of saddle, angle, relief or nut would do. Keeps nothing."""
