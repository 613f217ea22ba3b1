"""The brief before the flight: course, flag, entry, the first laps in this wind, and the time to leave."""
