"""What MediaPipe's hand model says of the same hand, beside ours.

In:   its 21 landmarks in metres (x right, y down, z away), of a crop with the forearm from below.
Out:  a palm frame as in `HandReading`, and how far the two differ.
Why:  a network trained on renders alone must notice when a general one sees something else. The constant
      turn between its landmarks and joint centres, and its own scatter, are measured on held-back renders
      (`release.workshop.opinion`) and packaged beside the weights.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from release.landmarks.result import HAND_POINTS
from release.landmarks.view import Crop

Array = NDArray[np.float64]
WRIST, INDEX, MIDDLE, LITTLE = 0, 5, 9, 17  # MediaPipe's numbers
SHARE = 0.6  # side of its crop, of our crop's: about twice the hand's length, which it was trained with
PALM = [HAND_POINTS.index(n) for n in ("wrist", "index_mcp", "middle_mcp", "ring_mcp", "little_mcp")]


def palm_of(world_m: Array) -> Array:
    """Palm frames (k, 3, 3), columns r_h, d_h, p, of right hands' landmarks (k, 21, 3)."""
    d_h = _unit(world_m[:, MIDDLE] - world_m[:, WRIST])
    across = world_m[:, INDEX] - world_m[:, LITTLE]
    r_h = _unit(across - (across * d_h).sum(1, keepdims=True) * d_h)
    return np.stack([r_h, d_h, np.cross(r_h, d_h)], axis=2)


def _unit(v: Array) -> Array:
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def apart_deg(ours: Array, theirs: Array, constant_turn: Array) -> Array:
    """Whole angle between our palm frames and theirs once its constant turn is taken out, shape (k,).

    Args:
        ours: Shape (k, 3, 3), crop axes of a right hand; NaN gives NaN.
        theirs: The same.
        constant_turn: Shape (3, 3), takes a joint-centre palm frame to theirs, in palm axes.
    """
    known = np.isfinite(ours).all((1, 2)) & np.isfinite(theirs).all((1, 2))
    found = np.full(len(ours), np.nan)
    if known.any():
        turn = theirs[known] @ constant_turn.T @ ours[known].swapaxes(1, 2)
        found[known] = np.degrees(Rotation.from_matrix(turn).magnitude())
    return found


def opinion_crops(crops: list[Crop], points: Array) -> list[Crop]:
    """Smaller crops round the palm, for MediaPipe.

    Args:
        crops: Ours.
        points: Shape (k, 12, 2), HAND_POINTS in shares of the crops' sides.
    """
    middles = [c.to_picture(p[PALM].mean(0), 1) for c, p in zip(crops, points, strict=True)]
    return [
        Crop(centre_px=m, side_px=SHARE * c.side_px, up_rad=c.up_rad, mirrored=c.mirrored)
        for c, m in zip(crops, middles, strict=True)
    ]
