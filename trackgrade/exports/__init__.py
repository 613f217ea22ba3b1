"""What other programs read: the debrief as JSON, the laps as CSV."""
