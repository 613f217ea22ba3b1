"""The debrief as one self-contained HTML page, and as a static figure."""

#: What a static figure can be written as, by the ending of its file; here, so that asking loads nothing.
FIGURE_KINDS = ("png", "svg", "pdf")
