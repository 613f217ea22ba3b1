"""Timings as ratios: each against a floor that no tool with the same input can beat, timed in the same run."""
