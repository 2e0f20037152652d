"""The second opinion on a few frames: MediaPipe's hand model beside ours, where it has been fetched."""

import json
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from release.landmarks.infer_mediapipe import HAND_PX, hand_landmarks
from release.landmarks.read_models import OWN_WEIGHTS
from release.landmarks.second_opinion import apart_deg, opinion_crops, palm_of
from release.landmarks.view import Crop, Picture, cut

Array = NDArray[np.float64]
SEEN = 0.5  # least presence at which MediaPipe's answer counts


@cache
def _measured() -> tuple[Array, float]:
    figures = json.loads((OWN_WEIGHTS / "second_opinion.json").read_text(encoding="utf-8"))
    return np.array(figures["constant_turn"]), figures["sd_deg"]


def second_opinion(
    images: Sequence[Picture] | NDArray[np.uint8],
    crops: list[Crop],
    points: Array,
    palm: Array,
    which: NDArray[np.int64],
) -> tuple[Array, float]:
    """Whole angle between our palm and MediaPipe's in some frames.

    Args:
        images: k of them.
        crops: Ours, k of them.
        points: Shape (k, 12, 2), in shares of the crops' sides.
        palm: Shape (k, 3, 3), crop axes.
        which: The frames that are asked about: MediaPipe is slower than our own network.

    Returns:
        Degrees, shape (k,), NaN where not asked, not seen or not fetched; MediaPipe's own standard
        uncertainty in degrees, measured on held-back renders.
    """
    apart = np.full(len(images), np.nan)
    constant_turn, sd_deg = _measured()
    if not len(which):
        return apart, sd_deg
    small = opinion_crops([crops[i] for i in which], points[which])
    hands = hand_landmarks(np.stack([cut(images[i], c, HAND_PX) for i, c in zip(which, small, strict=True)]))
    if hands is not None:
        theirs = np.where((hands.presence > SEEN)[:, None, None], palm_of(hands.world_m), np.nan)
        apart[which] = apart_deg(palm[which], theirs, constant_turn)
    return apart, sd_deg
