"""What the renderer hands to training."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Crops:
    """n rendered pictures of one kind with exact truth; pixels of the picture, (0, 0) its outer corner.

    Kind "hand": a right hand (a left one mirrored), the picture seven palm lengths wide, centred near the
    wrist, forearm from below. Kind "detail": the same, four wide and centred halfway to the middle knuckle.
    Kind "elbow": the same, 0.55 m wide and centred three tenths up the forearm.
    Kind "arm": a person in a square frame, either arm.
    """

    image: NDArray[np.uint8]  # shape (n, side, side, 4): premultiplied, square-root coded RGB; alpha linear
    points_px: NDArray[np.float32]  # shape (n, 12, 2), HAND_POINTS
    visible: NDArray[np.bool_]  # shape (n, 12), inside the picture (and, for the ball, there at all)
    ball_radius_px: NDArray[np.float32]  # shape (n,)
    held: NDArray[np.bool_]  # shape (n,), the ball touches the hand
    palm: NDArray[np.float32]  # shape (n, 3, 3): columns r_h, d_h, p, view frame of the picture's centre
    forearm: NDArray[np.float32]  # shape (n, 3), the same frame
    upper_arm: NDArray[np.float32]  # shape (n, 3); the same frame, but of kind "arm" through the elbow
    shoulder_px: NDArray[np.float32]  # shape (n, 2)
    right: NDArray[np.bool_]  # shape (n,), the throwing arm is the right one (always, for hands)
    present: NDArray[np.bool_]  # shape (n,), the throwing hand is there
    strange: NDArray[np.bool_]  # shape (n,), drawn unlike any throw: see `strange_throws.py`
    width_m: NDArray[np.float32]  # shape (n,), what the picture's side spans at the wrist
    palm_px: NDArray[np.float32]  # shape (n,), wrist to middle knuckle in the picture
    blur_px: NDArray[np.float32]  # shape (n,), path of the wrist during the exposure
    since_release_s: NDArray[np.float32]  # shape (n,)
    body: NDArray[np.int16]  # shape (n,)
    grip: NDArray[np.int16]  # shape (n,), which of the body's baked grips
    throw: NDArray[np.int32]  # shape (n,), pictures of one drawn throw share it

    def __len__(self) -> int:
        return len(self.image)

    def part(self, which: "slice | NDArray[np.int64] | NDArray[np.bool_]") -> "Crops":
        """Some of the pictures."""
        return Crops(**{f.name: getattr(self, f.name)[which] for f in fields(self)})
