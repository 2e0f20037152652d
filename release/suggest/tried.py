"""What was tried on each throw: the cue in the words now in use, and what was changed in the grip.

In:   throws of one pitch (`athlete, cue, grip_...`), in the words now in use.
Out:  one label a throw; UNCUED where the pitcher threw as usual.
"""

import pandas as pd

from release.suggest.grip import FIELDS, changes
from release.suggest.response import UNCUED
from release.suggest.result import NOTHING_SAID

LEAST_UNCUED = 3  # throws without a cue that make "nothing said" the usual (our choice)


def usual_cue(own: pd.DataFrame) -> str:
    """The cue that counts as the pitcher's usual: none, or the one most thrown where all were cued.

    Args:
        own: One pitcher's throws of one pitch; `cue` is "" where nothing was said.
    """
    if int((own["cue"] == "").sum()) >= LEAST_UNCUED or own.empty:
        return ""
    counts = own["cue"].value_counts(sort=False)
    return str(counts.index[int(counts.to_numpy().argmax())])


def tried(rows: pd.DataFrame, usual: str) -> pd.Series:
    """What was tried on each throw.

    Args:
        rows: Throws of one pitch, of any pitchers; grip columns where there are some.
        usual: The cue that counts as the usual.

    Returns:
        The cue; for a grip other than the pitcher's own usual one, what was changed in it, with the cue.
    """
    said = rows["cue"].astype(str).map(lambda cue: UNCUED if cue == usual else (cue or NOTHING_SAID))
    grips = grip_changes(rows)
    return pd.Series(
        [
            f"{cue}, with {grip}" if cue and grip else cue or grip
            for cue, grip in zip(said, grips, strict=True)
        ],
        index=rows.index,
        dtype=object,
    )


def grip_changes(rows: pd.DataFrame) -> list[str]:
    """For each throw what differs from the pitcher's own most usual grip: "grip thumb: side -> under"."""
    fields = [field for field in FIELDS if field in rows]
    if not fields:
        return [""] * len(rows)
    held = rows[fields].fillna("").astype(str)
    usual = {
        athlete: dict(zip(fields, part.value_counts(sort=True).index[0], strict=True))
        for athlete, part in held.groupby(rows["athlete"])
    }
    found = []
    for athlete, grip in zip(rows["athlete"], held.to_dict("records"), strict=True):
        now = {str(field): str(value) for field, value in grip.items()}
        found.append("; ".join(f"grip {change}" for change in changes(usual[athlete], now)))
    return found
