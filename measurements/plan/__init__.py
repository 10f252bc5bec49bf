"""What the shop has ahead of it: the board, calls, letters, bookings, the calendar feed."""
