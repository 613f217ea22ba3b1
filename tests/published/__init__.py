"""Checks against something outside the project: published values and independent libraries, each with its source."""
