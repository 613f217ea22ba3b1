"""The local page: the whole job in a browser on the same machine, for those who type no commands.

It measures and judges nothing itself: workers call what the commands call, and what they give is shown.
"""
