"""What was tried on each throw: the cue in the words now in use, and what was changed in the grip.

In:   throws of one pitch (`athlete, cue, grip_...`), in the words now in use.
Out:  one label a throw; UNCUED where the pitcher threw as usual.
"""

import pandas as pd

from release.suggest.grip import FIELDS, changes
from release.suggest.response import UNCUED
from release.suggest.result import NOTHING_SAID

MOST_CHANGES = 4  # of the grip that are told, the newest
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


def grip_history(own: pd.DataFrame) -> tuple[str, ...]:
    """What one pitcher changed in the grip, the newest last: "throw 9, thumb: side -> under".

    Args:
        own: Throws of one pitch in the order thrown. A field left empty stands as it was last known.
    """
    fields = [field for field in FIELDS if field in own]
    several = own["session"].nunique() > 1
    known: dict[str, str] = {}
    found = []
    grips = own[fields].fillna("").astype(str).to_dict("records")
    for (_, row), held in zip(own.iterrows(), grips, strict=True):
        now = known | {str(field): value for field, value in held.items() if value}
        where = f"session {int(row['session']) + 1}, throw" if several else "throw"
        if changed := changes(known, now):
            found.append(f"{where} {row['throw']:g}, {', '.join(changed)}")
        known = now
    return tuple(found[-MOST_CHANGES:])
