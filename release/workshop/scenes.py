"""Scenes behind and before a thrower, drawn by us: a hall or a field seen by one fixed camera.

In:   a camera, a picture size, a random generator.
Out:  what each pixel sees where no person stands, linear light; and a net before the camera.
Why:  each pixel's ray meets floor, walls, fence or sky at a field point; noise on field points makes a
      picture that hangs together.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from release.workshop.truth import Camera

Array = NDArray[np.float64]


def noise(x: Array, y: Array, octaves: int = 4) -> Array:
    """Smooth noise of several scales, about 0 to 1; its coarsest cell is 1 wide."""
    total, strength = np.zeros(np.broadcast_shapes(x.shape, y.shape)), 0.5
    for k in range(octaves):
        total += strength * _lattice(x * 2**k + 17.3 * k, y * 2**k + 9.1 * k)
        strength /= 2
    return total / (1 - 0.5**octaves)


def _lattice(x: Array, y: Array) -> Array:
    i, j = np.floor(x), np.floor(y)
    u, v = x - i, y - j
    u, v = u * u * (3 - 2 * u), v * v * (3 - 2 * v)
    a, b = _hash(i, j) * (1 - u) + _hash(i + 1, j) * u, _hash(i, j + 1) * (1 - u) + _hash(i + 1, j + 1) * u
    return a * (1 - v) + b * v


def _hash(i: Array, j: Array) -> Array:
    return np.modf(np.abs(np.sin(i * 127.1 + j * 311.7) * 43758.5453))[0]


def _colour(rng: np.random.Generator, low: float, high: float, vivid: float) -> Array:
    grey = rng.uniform(low, high)
    return np.clip(grey * (1 + vivid * rng.uniform(-0.6, 0.6, 3)), 0.01, 0.95)


def rays(camera: Camera, size: tuple[int, int]) -> Array:
    """Field direction through each pixel's centre, shape (height, width, 3)."""
    x, y = np.meshgrid(np.arange(size[0]) + 0.5, np.arange(size[1]) + 0.5)
    seen = np.stack(
        [(x - camera.K[0, 2]) / camera.K[0, 0], (y - camera.K[1, 2]) / camera.K[1, 1], x * 0 + 1], -1
    )
    return seen @ camera.R


def backdrop(
    camera: Camera, size: tuple[int, int], kind: str, rng: np.random.Generator
) -> NDArray[np.float32]:
    """What the camera sees without people.

    Args:
        camera: In the field.
        size: Width and height, px.
        kind: "hall" or "field".
        rng: Of colours and texture.

    Returns:
        Shape (height, width, 3), linear light.
    """
    way = rays(camera, size)
    picture = (_hall if kind == "hall" else _field)(camera.eye, way, rng)
    soft = rng.uniform(0.7, 2.2)  # what lies behind the thrower is a little out of focus
    return np.stack([gaussian_filter(picture[..., k], soft) for k in range(3)], -1).astype(np.float32)


def _hall(eye: Array, way: Array, rng: np.random.Generator) -> Array:
    low = np.array([min(eye[0], 0) - rng.uniform(2, 8), min(eye[1], 0) - rng.uniform(2, 6), 0.0])
    high = np.array(
        [max(eye[0], 2) + rng.uniform(2, 18), max(eye[1], 0) + rng.uniform(2, 6), rng.uniform(3.5, 8)]
    )
    with np.errstate(divide="ignore"):
        far = np.where(way > 0, (high - eye) / way, (low - eye) / way)
    axis, distance = far.argmin(-1), far.min(-1)
    p = eye + distance[..., None] * way
    surface = _wall(rng)
    floor = _floor(rng)
    along = np.where(axis == 0, p[..., 1], p[..., 0])
    wall = surface(along + 31.0 * axis, p[..., 2])
    ground = floor(p[..., 0], p[..., 1])
    ceiling = _colour(rng, 0.1, 0.5, 0.1) * (0.7 + 0.6 * noise(p[..., :1], p[..., 1:2]))
    picture = np.where((axis == 2)[..., None], np.where((way[..., 2] > 0)[..., None], ceiling, ground), wall)
    corner = np.minimum(np.abs(p - low), np.abs(high - p))
    near = np.partition(corner, 1, axis=-1)[..., 1:2]  # distance to the next wall: corners are darker
    return picture * (0.75 + 0.25 * np.clip(near / 0.8, 0, 1))


def _wall(rng: np.random.Generator) -> Callable[[Array, Array], Array]:
    base, line, panel = _colour(rng, 0.12, 0.6, 0.25), rng.uniform(0.4, 0.9), _colour(rng, 0.05, 0.6, 1.2)
    wide, high, band = rng.uniform(0.4, 2.4), rng.uniform(0.2, 2.4), rng.uniform(0.8, 2.4)
    band_colour, banded, panelled = _colour(rng, 0.05, 0.5, 1.2), rng.random() < 0.5, rng.random() < 0.6
    every, netted = rng.uniform(2.0, 5.0), rng.random() < 0.5
    mesh, thread = rng.uniform(0.04, 0.06), _colour(rng, 0.02, 0.5, 0.1)

    def seen(u: Array, z: Array) -> Array:
        joint = (np.abs(u / wide % 1 - 0.5) < 0.004 / wide) | (np.abs(z / high % 1 - 0.5) < 0.004 / high)
        value = base * (0.72 + 0.56 * noise(u * 1.7, z * 1.7)[..., None])
        value = np.where(joint[..., None], value * line, value)
        if banded:
            value = np.where((np.abs(z - band) < 0.12)[..., None], band_colour, value)
        if panelled:
            inside = (np.abs(u / every % 1 - 0.5) < 0.17) & (z > 1.0) & (z < 2.3)
            value = np.where(inside[..., None], panel * (0.9 + 0.2 * noise(u * 9, z * 9)[..., None]), value)
        if netted:  # a net hung before the wall: half seen through
            strand = np.minimum(np.abs(u / mesh % 1 - 0.5), np.abs(z / mesh % 1 - 0.5)) < 0.07
            value = np.where(strand[..., None], 0.35 * value + 0.65 * thread, value)
        return value

    return seen


def _floor(rng: np.random.Generator) -> Callable[[Array, Array], Array]:
    base, plank = _colour(rng, 0.1, 0.5, 0.6), rng.uniform(0.08, 0.3)
    boards = rng.random() < 0.4
    green = np.array([0.08, 0.22, 0.07]) * rng.uniform(0.6, 1.6)
    turf = rng.random() < 0.5

    def seen(x: Array, y: Array) -> Array:
        value = (green if turf else base) * (0.7 + 0.6 * noise(x * 6, y * 6)[..., None])
        if boards and not turf:
            value = value * (0.8 + 0.4 * _hash(np.floor(y / plank), np.floor(x / 2.1)))[..., None]
        rubber = (x > -0.15) & (x < 0) & (np.abs(y) < 0.3)
        return np.where(rubber[..., None], 0.8, value)

    return seen


def _field(eye: Array, way: Array, rng: np.random.Generator) -> Array:
    fence_m, top_m = rng.uniform(14, 70), rng.uniform(1.8, 4.5)
    flat = np.linalg.norm(way[..., :2], axis=-1)
    heading = np.arctan2(way[..., 1], way[..., 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        to_ground = np.where(way[..., 2] < 0, -eye[2] / way[..., 2], np.inf)
        to_fence = (fence_m * (1 + 0.15 * np.cos(2 * heading))) / flat
    height = eye[2] + to_fence * way[..., 2]
    p = eye + np.minimum(to_ground, 300.0)[..., None] * way
    grass = np.array([0.09, 0.2, 0.05]) * rng.uniform(0.6, 1.8)
    dirt = np.array([0.33, 0.19, 0.11]) * rng.uniform(0.6, 1.6)
    mow = 1 + 0.12 * np.sign(np.sin(p[..., 0] * 1.4))
    ground = grass * (mow * (0.6 + 0.8 * noise(p[..., 0] * 5, p[..., 1] * 5)))[..., None]
    bare = (np.hypot(p[..., 0], p[..., 1]) < 2.75) | (np.hypot(p[..., 0] - 18.4, p[..., 1]) < 4)
    ground = np.where(
        bare[..., None], dirt * (0.75 + 0.5 * noise(p[..., 0] * 4, p[..., 1] * 4))[..., None], ground
    )
    arc = heading * fence_m
    slat = rng.uniform(0.3, 3.0)
    fence = _colour(rng, 0.03, 0.4, 0.8) * (0.8 + 0.3 * _hash(np.floor(arc / slat), arc * 0))[..., None]
    trees = top_m + 0.06 * fence_m * (0.4 + noise(arc / 9, arc * 0))
    leaves = (
        np.array([0.04, 0.09, 0.03])
        * rng.uniform(0.6, 2)
        * (0.4 + 1.4 * noise(arc * 1.3, height * 1.3))[..., None]
    )
    up = np.clip(way[..., 2] / np.linalg.norm(way, axis=-1), 0, 1)
    blue, grey = np.array([0.28, 0.48, 0.85]), np.array([0.72, 0.75, 0.8])
    cloud = np.clip(noise(heading * 6, up * 14) * 2.2 - rng.uniform(0.4, 1.2), 0, 1)[..., None]
    sky = (blue * (1 - 0.5 * (1 - up[..., None]) ** 6) * (1 - cloud) + grey * cloud) * rng.uniform(0.7, 1.3)
    beyond = np.where((height < top_m)[..., None], fence, np.where((height < trees)[..., None], leaves, sky))
    return np.where((to_ground < to_fence)[..., None], ground, beyond)


def net_cover(camera: Camera, size: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float32]:
    """How much of each pixel a net hung 0.8 to 2.5 m before the camera covers, shape (height, width)."""
    away, mesh, thread = rng.uniform(0.8, 2.5), rng.uniform(0.035, 0.06), rng.uniform(0.0015, 0.003)
    way = rays(camera, size) @ camera.R.T
    x, y = way[..., 0] / way[..., 2] * away, way[..., 1] / way[..., 2] * away
    turn = rng.uniform(0, np.pi / 2)
    u, v = np.cos(turn) * x + np.sin(turn) * y, np.cos(turn) * y - np.sin(turn) * x
    sag = 0.2 * mesh * noise(x * 3, y * 3, 2)
    pixel = away / camera.K[0, 0]
    cover = np.zeros(size[::-1])
    for w in (u + sag, v + sag):
        off = np.abs(w / mesh % 1 - 0.5) * mesh
        cover = np.maximum(cover, np.clip((thread / 2 - off) / pixel + 0.5, 0, 1) * min(1, thread / pixel))
    return gaussian_filter(cover, rng.uniform(0.8, 2.5)).astype(np.float32)
