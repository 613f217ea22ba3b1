"""Judgement: measures, standards, grading, mistakes, and the debrief they make."""
