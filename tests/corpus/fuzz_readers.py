"""Feed the readers of tables and settings with bytes that atheris makes to reach ever new lines of them.

Run from a checkout: `.venv/bin/python -m tests.corpus.fuzz_readers SECONDS SEED`. It stops at the first
error that is none of the tool's own and leaves the bytes that made it in a file `crash-*`.
"""

import sys

import atheris

with atheris.instrument_imports(include=["release"]):
    from tests.test_readers_fuzzed import CAMERA, PLAN, READERS, WHOLE, answers_or_says, mapped_flights

NAMES = sorted(READERS)
WHOLES = {"mapping": WHOLE, "plan": PLAN, "camera": CAMERA}


def one(data: bytes) -> None:
    """The first byte chooses the reader, the second whether a right settings file stands before the rest."""
    if len(data) < 2:
        return
    which, content = data[0] % (len(NAMES) + 1), data[2:]
    if which == len(NAMES):
        mapped_flights(WHOLE.encode(), content)
        return
    whole = WHOLES.get(NAMES[which], "").encode() if data[1] % 2 else b""
    answers_or_says(NAMES[which], whole + content)


if __name__ == "__main__":
    seconds, seed = (int(word) for word in sys.argv[1:3])
    atheris.Setup([sys.argv[0], f"-max_total_time={seconds}", f"-seed={seed}", "-max_len=400"], one)
    atheris.Fuzz()
