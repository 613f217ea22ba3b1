"""The analysis against flights whose truth it has not seen. ``python -m tests.simulated`` prints the table."""
