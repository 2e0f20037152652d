"""One drawn picture of an arm with a ball. What the packaged readers read in it is kept in their cards.

So a test can tell, on any machine and with any version of the runtime, that they still read alike.
"""

import numpy as np
from numpy.typing import NDArray

from release.landmarks.infer_network import run
from release.landmarks.result import READ_PX, Kind

KEPT = ("points", "direction", "direction_sd", "upper_arm", "palm", "radius", "held", "right", "present")


def known_picture(side_px: int) -> NDArray[np.uint8]:
    """Shape (s, s, 3), RGB: a forearm from below, a fist and a white ball before a shaded wall."""
    y, x = (np.mgrid[:side_px, :side_px] + 0.5) / side_px
    picture = np.stack([60 + 60 * y, 80 + 40 * x, 110 - 50 * y], axis=-1)
    arm = np.clip(1 - ((x - 0.5) / 0.055) ** 2, 0, 1) * (y > 0.5)
    hand = np.clip(1 - ((x - 0.5) / 0.08) ** 2 - ((y - 0.42) / 0.11) ** 2, 0, 1)
    ball = np.clip(1 - ((x - 0.54) ** 2 + (y - 0.32) ** 2) / 0.065**2, 0, 1)
    for cover, colour in ((arm, (205, 150, 120)), (hand, (215, 160, 130)), (ball, (245, 245, 240))):
        shade = 0.5 + 0.5 * np.sqrt(cover)[..., None]
        picture = np.where(cover[..., None] > 0, shade * colour, picture)
    return picture.astype(np.uint8)


def known_reads(kind: Kind) -> dict[str, list[float]]:
    """What a packaged reader reads in the known picture, by name."""
    read = run(kind, known_picture(READ_PX[kind])[None])
    return {name: np.round(read[name][0].ravel(), 5).tolist() for name in KEPT if name in read}
