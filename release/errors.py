"""Every error that a user can cause. Programming mistakes stay ValueError.

A message says what was wrong, in which file or row, and what to do. `cli.main` and the page catch
`ReleaseError` once; nothing else does, except a batch that sets one item aside and goes on.
"""


class ReleaseError(Exception):
    """Shown by the command line as one line, without a traceback."""
