"""The camera that a clip's truth tells."""

import numpy as np

from release.camera.result import FieldCamera


def true_camera(truth, size_px):
    """The camera at release; a hand-held one shakes by less than a pixel or two."""
    at = int(np.argmin(np.abs(truth.frames.frame_index - truth.release_frame)))
    rotation = truth.frames.rotation[at]
    return FieldCamera(
        rotation=rotation,
        position_m=-rotation.T @ truth.frames.offset_m[at],
        focal_px=float(truth.camera_matrix[0, 0]),
        size_px=size_px,
        covariance=np.zeros((7, 7)),
        reprojection_px=0.0,
        source="marks",
    )
