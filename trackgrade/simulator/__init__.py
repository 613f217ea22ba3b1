"""Flights with known truth. Shares nothing with the analysis but the hold."""
