"""Pictures as JPEG: what the logbook keeps, a report holds and the page sends."""

import cv2
import numpy as np
from numpy.typing import NDArray


def jpeg_of(image: NDArray[np.uint8], quality: int) -> bytes:
    """A picture as a JPEG file.

    Args:
        image: Shape (height, width, 3), RGB.
        quality: 1 to 100, as libjpeg counts it.
    """
    bgr = cv2.cvtColor(image, cv2.COLOR_RGB2BGR)
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
