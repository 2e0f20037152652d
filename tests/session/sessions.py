"""One simulated session as three tables, numbered by throw."""

import numpy as np
import pandas as pd

START_S = 1.78e9


def session(seed=0, n=24, jitter_s=1.0, offset_s=5000.0, even=False, missing=()):
    """Three lists of one session: the flight file lacks the throws `missing`; all numbered by throw."""
    rng = np.random.default_rng(seed)
    gaps = np.full(n, 26.0) if even else rng.uniform(12, 40, n)
    time = START_S + np.cumsum(gaps)
    pitch = rng.choice(["four-seam", "changeup"], n)
    speed = np.where(pitch == "four-seam", 88, 77) + rng.normal(0, 1, n)

    def clock(offset):
        return time + offset + rng.normal(0, jitter_s, n)

    ids = [str(i + 1) for i in range(n)]
    clips = pd.DataFrame({"clip": [f"c{i}.mp4" for i in ids], "time_s": clock(0), "throws": "R"})
    sheet = pd.DataFrame({"throw": ids, "time_s": clock(120), "athlete": "A1", "throws": "R", "pitch": pitch})
    flight = pd.DataFrame({"flight": ids, "time_s": clock(offset_s), "speed_mph": speed})
    return clips, sheet, flight[~flight["flight"].isin(missing)]
