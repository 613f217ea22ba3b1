"""A large random run over all that reads a file or is asked something: ``python -m tests.fuzz --inputs 100000``.

The contract: any bytes become what they should be, or raise the one documented error, within 5 seconds. No
traceback, no hang, no lap graded on a track that is nonsense, no input or other result destroyed. Each input follows
from its number and the seed alone, so ``--first N --inputs 1`` repeats it; ``--keep DIR`` keeps what failed.
`targets.py` is the table of what is tried.
"""
