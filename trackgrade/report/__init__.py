"""The debrief as one self-contained HTML page."""
