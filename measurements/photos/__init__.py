"""Photos and noted damage of a check-in."""
