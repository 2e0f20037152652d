"""Agreement of two readings as a table, a row a figure."""

import pandas as pd

from release.stats.agreement import agreement

LEAST_CLIPS = 5


def agreement_table(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    """Six ICCs, SEM, detectable change, bias and limits of every figure that both readings hold.

    Args:
        first: Figures by clip, as `read_readings` gives them.
        second: The same of the other reading.
    """
    both = first.add_suffix(" 1").join(second.add_suffix(" 2"), how="inner")
    found = []
    for figure in (c for c in first.columns if c in second.columns):
        pairs = both[[f"{figure} 1", f"{figure} 2"]].dropna().to_numpy(float)
        if len(pairs) < LEAST_CLIPS or pairs.std() == 0:
            continue
        one = agreement(pairs)
        assert one.limits is not None
        found.append(
            {"figure": figure, "clips": one.throws}
            | {form: value for form, (value, _, _) in one.icc.items()}
            | {"SEM": one.sem, "detectable": one.detectable, "bias": one.limits.bias}
            | {"limit_low": one.limits.low, "limit_high": one.limits.high}
        )
    return pd.DataFrame(found)
