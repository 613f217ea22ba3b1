"""From positions to motion: smoothed velocity, wind, heading, turns."""
