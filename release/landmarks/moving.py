"""Only what moves in the pictures of a camera that stands: who stands still behind a pitcher is painted out.

In:   pictures of one camera over some tenths of a second.
Out:  the same with what never changes blurred beyond recognition.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from release.landmarks.flying_ball import STILL_OF, median_picture

CHANGED = 14.0  # grey levels of 255 from the median picture; a film's noise and compression stay below
ROUND_IT = 0.01  # of the longer side: so far round what changes all is left, slower parts of an arm too
BLURRED = 0.06  # of the longer side, SD: a person in a whole picture is wider


def moving_only(images: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Pictures of shape (k, height, width, 3), changed in place: what stands still in all is blurred away."""
    some = images[:: max(len(images) // STILL_OF, 1)]
    still = np.stack([median_picture(some[..., c]) for c in range(3)], axis=2)
    longer = max(still.shape)
    away = cv2.GaussianBlur(still, (0, 0), BLURRED * longer)
    wide = 2 * round(ROUND_IT * longer) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    for image in images:
        change = cv2.GaussianBlur(cv2.absdiff(image.astype(np.float32), still).max(axis=2), (0, 0), 1.5)
        near = cv2.dilate((change > CHANGED).astype(np.float32), disc)
        share = cv2.GaussianBlur(near, (0, 0), 2.0)[..., None]
        image[:] = share * image + (1 - share) * away
    return images
