"""The debrief as one self-contained HTML page, and as a static figure."""

import logging

# Remarks of the library that draws the figure (a font cache is made, a folder cannot be written) are nothing that a
# pilot can act on. It makes them as it is imported, so they are silenced before.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

#: What a static figure can be written as, by the ending of its file; here, so that asking loads nothing.
FIGURE_KINDS = ("png", "svg", "pdf")
