"""Small clips with truth: a plain picture coded as video, beside the truth of a throw from synthetic.py."""

import json
from fractions import Fraction

import av
import numpy as np

from release.orientation.angles import angles_of_points_deg
from release.orientation.chain import CHAIN_POINTS

RELEASE_S = 0.1612  # into the clip


def draw_clip(
    folder, throw, camera, *, name="throw", fps=240, n_frames=72, stored_fps=None, side="R", throws=True
):
    """Write NAME.mp4 and NAME.truth.json; returns the video's path."""
    path = folder / f"{name}.mp4"
    size = (1280, 720)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=stored_fps or fps, options={"preset": "ultrafast"})
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.time_base = Fraction(1, stored_fps or fps)
        picture = np.full((size[1], size[0], 3), 90, np.uint8)
        for _ in range(n_frames):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture)))
        container.mux(stream.encode())
    truth = _truth(path.name, throw, camera, fps, n_frames, side, throws)
    path.with_suffix("").with_suffix(".truth.json").write_text(json.dumps(truth))
    return path


def _truth(clip, throw, camera, fps, n_frames, side, throws):
    time_s = np.arange(n_frames) / fps
    inside = bool(throws and time_s[-1] > RELEASE_S)
    frame = RELEASE_S * fps
    truth = {
        "clip": clip,
        "handedness": side,
        "view": "drawn",
        "true_fps": fps,
        "exposure_s": 0.0005,
        "frame_time_s": time_s.tolist(),
        "throw": throws,
        "release_in_clip": inside,
        "release_frame": frame if inside else None,
        "release_time_s": RELEASE_S if inside else None,
        "K": [[camera.focal_px, 0, 640.0], [0, camera.focal_px, 360.0], [0, 0, 1]],
        "R": camera.rotation.tolist(),
        "t": camera.offset_m.tolist(),
    }
    if not throws:
        return truth
    world = _world(throw, time_s - RELEASE_S, side)
    near = [k for k in range(n_frames) if abs(k - frame) <= 30]
    truth["frames"] = [
        {"frame": k, "time_s": float(time_s[k]), "world": {n: p[k].tolist() for n, p in world.items()}}
        for k in near
    ]
    at = _world(throw, np.zeros(1), side)
    angles = {n: float(v[0]) for n, v in angles_of_points_deg(at, side).items()}
    truth["at_release"] = {"world": {n: p[0].tolist() for n, p in at.items()}, "angles": angles}
    return truth


def _world(throw, t, side):
    points = throw.posed(t).points_m * ([1, 1, 1] if side == "R" else [1, -1, 1])
    return {name: points[:, k] for k, name in enumerate(CHAIN_POINTS)}
