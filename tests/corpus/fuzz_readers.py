"""Feed the readers of tables and settings with bytes that atheris makes to reach ever new lines of them.

Run from a checkout: `.venv/bin/python -m tests.corpus.fuzz_readers SECONDS SEED`. It stops at the first
error that is none of the tool's own and leaves the bytes that made it in a file `crash-*`.
"""

import sys

import atheris

with atheris.instrument_imports(include=["release"]):
    from release.flight.columns import COLUMNS
    from release.session.read import CLIPS, DECISIONS, SHEET
    from tests.test_readers_fuzzed import CAMERA, PLAN, READERS, WHOLE, answers_or_says, mapped_flights

NAMES = sorted(READERS)
HEADINGS = {"sheet": SHEET, "clips": CLIPS, "decisions": DECISIONS, "flight": COLUMNS}
BEGUN = {"mapping": WHOLE, "plan": PLAN, "camera": CAMERA} | {
    name: ",".join(columns) + "\n" for name, columns in HEADINGS.items()
}
MAPPED = b"No,Speed,Side,Date,Clock\n"


def one(data: bytes) -> None:
    """The first byte chooses the reader, the second whether a right beginning stands before the rest."""
    if len(data) < 2:
        return
    which, begun, content = data[0] % (len(NAMES) + 1), data[1] % 2, data[2:]
    if which == len(NAMES):
        mapped_flights(WHOLE.encode(), (MAPPED if begun else b"") + content)
        return
    beginning = BEGUN.get(NAMES[which], "").encode() if begun else b""
    answers_or_says(NAMES[which], beginning + content)


if __name__ == "__main__":
    seconds, seed = (int(word) for word in sys.argv[1:3])
    atheris.Setup([sys.argv[0], f"-max_total_time={seconds}", f"-seed={seed}", "-max_len=400"], one)
    atheris.Fuzz()
