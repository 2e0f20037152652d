"""Cameras whose place is known, and the marks they see."""

import numpy as np

from release.camera.field import Field, places_m
from release.camera.result import FieldCamera

STICK = Field(stick_m=1.5)
SIZE_PX = (1280, 720)


def looking(eye, target, focal_px, size_px=SIZE_PX):
    """A level camera at `eye` with `target` in the middle of its picture."""
    z = (np.array(target) - eye) / np.linalg.norm(np.array(target) - eye)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    return FieldCamera(
        rotation=np.stack([x, np.cross(z, x), z]),
        position_m=np.array(eye, float),
        focal_px=focal_px,
        size_px=size_px,
        covariance=np.zeros((7, 7)),
        reprojection_px=0.0,
        source="marks",
    )


def some_camera(rng, far_m=(4.0, 10.0)):
    """From anywhere round the mound, the thrower filling the picture."""
    way, far = rng.uniform(0, 2 * np.pi), rng.uniform(*far_m)
    eye = np.array([0.8 + far * np.cos(way), far * np.sin(way), rng.uniform(0.9, 2.2)])
    return looking(eye, [0.8, 0.0, 1.0], far * 240)


def seen_marks(camera, field=STICK):
    """Names, places and pixels of the marks that lie in the picture."""
    places = places_m(field)
    px = {name: camera.pixel(place) for name, place in places.items()}
    inside = [n for n, p in px.items() if np.all(p > 0) and np.all(p < camera.size_px)]
    return inside, np.array([places[n] for n in inside]), np.array([px[n] for n in inside])


def error_of(found, true):
    """Seven errors in the parameters of FieldCamera.covariance."""
    from scipy.spatial.transform import Rotation

    turn = Rotation.from_matrix(true.rotation.T @ found.rotation).as_rotvec()
    return np.concatenate(
        [turn, found.position_m - true.position_m, [np.log(found.focal_px / true.focal_px)]]
    )
