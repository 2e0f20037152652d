"""How uncertain a throw's figure is beside other throws of the same athlete before the same camera."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def own_sd(rows: pd.DataFrame, figure: str) -> NDArray[np.float64]:
    """Standard uncertainty of each throw's figure in a comparison of throws, in the figure's unit.

    Throws of one athlete before one camera share most of an angle's error, and what they share drops out of
    their differences: `FIGURE_own_sd` is what is left. A table without it is taken at its `FIGURE_sd`.

    Args:
        rows: Throws, with one of the two columns or none.
        figure: The figure's column.

    Returns:
        Shape (n,): the median where a throw's own is missing or negative; 0 where the table states none.
    """
    name = next((name for name in (f"{figure}_own_sd", f"{figure}_sd") if name in rows), None)
    if name is None:
        return np.zeros(len(rows))
    sd = pd.to_numeric(rows[name], errors="coerce").to_numpy(float)
    known = np.isfinite(sd) & (sd >= 0)
    return np.where(known, sd, np.median(sd[known]) if known.any() else 0.0)
