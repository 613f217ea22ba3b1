"""From motion to a structured account: events, laps, entry."""
