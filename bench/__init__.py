"""Measurements of the project: how good the forecasts are, and how fast."""
