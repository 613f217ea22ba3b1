"""Sessions remembered: the store and the trends drawn from it."""
