"""What the surface of a body is made of: skin, shirt, trousers, hair, glove, shoes; and how each is coloured.

In:   baked bodies.
Out:  arrays for the shaders, one set for the shared mesh, and random looks.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.workshop.bodies import Bodies
from release.workshop.skeleton import along_segments

Array = NDArray[np.float64]

FULLER_M = 0.0012  # SD of how far the skin of arm and hand stands off the body's own
LOOKS = 13  # rows of four numbers a picture; the shader names each
SKIN, SHIRT, TROUSERS, ARM, HEAD, GLOVE, SHOES, OTHER_ARM = range(8)
ARM_BONES = ("shoulder01", "upperarm01", "upperarm02", "lowerarm01", "lowerarm02", "wrist")


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Buffers of the mesh."""

    place_normal: NDArray[np.float32]  # shape (n, v, 6), at rest
    skinning: NDArray[np.float32]  # shape (v, 4, 2), bone and weight
    region: NDArray[np.float32]  # shape (v, 3): kind, along the arm 0..3, height in the head 0..1


def surface_of(bodies: Bodies) -> Surface:
    """Prepare the mesh of baked bodies for drawing."""
    normals = np.stack([_normals(v, bodies.faces) for v in bodies.vertices_m])
    return Surface(
        place_normal=np.concatenate([bodies.vertices_m, normals], axis=2).astype(np.float32),
        skinning=np.stack([bodies.bone_index.astype(np.float32), bodies.bone_weight], axis=2).astype("f4"),
        region=_regions(bodies),
    )


def _normals(vertices: NDArray[np.float32], faces: NDArray[np.int32]) -> NDArray[np.float32]:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    total = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(total, faces[:, k], face)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def _regions(bodies: Bodies) -> NDArray[np.float32]:
    strongest = np.take_along_axis(bodies.bone_index, bodies.bone_weight.argmax(1)[:, None], 1)[:, 0]
    names = np.array(bodies.names)[strongest]
    kind = np.full(len(names), SHIRT)
    for i, name in enumerate(names):
        stem, _, side = name.partition(".")
        if stem.startswith(("upperleg", "lowerleg", "pelvis")) or stem in ("root", "spine05"):
            kind[i] = TROUSERS
        elif stem == "foot":
            kind[i] = SHOES
        elif stem.startswith(("neck", "head")):
            kind[i] = HEAD
        elif stem.startswith(("finger", "metacarpal", "wrist")):
            kind[i] = ARM if side == "R" else GLOVE
        elif stem in ARM_BONES:
            kind[i] = ARM if side == "R" else OTHER_ARM
    rest = bodies.vertices_m.mean(0)
    along = np.zeros(len(names))
    for side in "RL":
        places = [
            bodies.heads_m[:, bodies.bone(f"{b}.{side}")].mean(0)
            for b in ("upperarm01", "lowerarm01", "wrist")
        ]
        tip = bodies.tails_m[:, bodies.bone(f"finger3-3.{side}")].mean(0)
        segment, share = along_segments(rest, np.array([*places, tip]))
        on_side = (rest[:, 0] < 0) == (side == "R")
        along = np.where(on_side, segment + share, along)  # 0 shoulder .. 3 fingertip
    head = kind == HEAD
    low, high = rest[head, 2].min(), rest[head, 2].max()
    height = np.where(head, (rest[:, 2] - low) / (high - low), 0.0)
    return np.stack([kind, along, height], axis=1).astype(np.float32)


def _srgb(code: int) -> Array:
    return (np.array([code >> 16, code >> 8 & 255, code & 255]) / 255) ** 2.2


# From very light to very dark skin; spread evenly over what people look like (invented, no photograph).
SKIN_TONES = np.array(
    [_srgb(c) for c in (0xF3D3BD, 0xE5B694, 0xCB9670, 0xA87048, 0x7C4B2C, 0x4E2E1C, 0x33201A)]
)


def draw_looks(rng: np.random.Generator) -> NDArray[np.float32]:
    """One random look, shape (LOOKS, 4): colours, sleeve, bands, hair or cap, cloth, ball; a ball is held."""
    tone = rng.uniform(0, len(SKIN_TONES) - 1)
    low = int(tone)
    skin = SKIN_TONES[low] + (tone - low) * (SKIN_TONES[min(low + 1, len(SKIN_TONES) - 1)] - SKIN_TONES[low])
    look = np.zeros((LOOKS, 4))
    look[0] = [*np.clip(skin * rng.uniform(0.85, 1.15, 3), 0, 1), rng.uniform(0.0, 0.18)]
    for row in (1, 2, 3, 4, 5, 7):
        look[row, :3] = _cloth(rng)
    look[6, :3] = _srgb(0x6B3F22) * rng.uniform(0.2, 1.6)
    sleeve = rng.choice(
        [rng.uniform(0.35, 0.8), rng.uniform(0.85, 1.3), rng.uniform(1.6, 1.95), -1], p=[0.5, 0.15, 0.2, 0.15]
    )
    band = rng.choice(3, p=[0.75, 0.15, 0.1])
    start = (9.0, rng.uniform(1.75, 1.93), rng.uniform(1.25, 1.7))[band]
    look[8] = [sleeve, start, start + rng.uniform(0.05, 0.16), rng.uniform(0.62, 0.78)]
    tight = sleeve > 1.5
    look[9] = [
        rng.uniform(0, 0.012),
        rng.uniform(0, 0.01),
        rng.uniform(0.015, 0.04),
        0.002 if tight else 0.008,
    ]
    look[10] = [rng.uniform(0, 0.3), rng.uniform(8, 60), float(rng.random() < 0.15) * rng.uniform(0.2, 1), 0]
    white = _srgb(0xF2EFE6) * rng.uniform(0.75, 1.0)
    tint = np.array([1.0, rng.uniform(0.9, 1), rng.uniform(0.72, 1)])
    look[11] = [*np.clip(white * tint, 0, 1), rng.uniform(0, 0.55)]
    look[10, 3] = rng.normal(0, FULLER_M)
    look[1, 3] = rng.uniform(0.06, 0.3)
    # A pattern of one known fineness would tell a lean by how it is foreshortened; some have none at all.
    look[2:7, 3] = [
        _often_none(rng, 0.5),
        _fineness(rng),
        _often_none(rng, 0.5),
        _fineness(rng),
        _often_none(rng, 0.6),
    ]
    return look.astype(np.float32)


def _often_none(rng: np.random.Generator, most: float) -> float:
    return float(rng.uniform(0, most) * (rng.random() < 0.7))


def _fineness(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(-1, 1)))


def _cloth(rng: np.random.Generator) -> Array:
    """Dark, light and coloured alike."""
    grey = rng.uniform(0.01, 0.85)
    return np.clip(grey + rng.uniform(0, 1) ** 2 * (rng.uniform(0, 0.8, 3) - grey), 0.004, 0.9)


def draw_light(rng: np.random.Generator) -> NDArray[np.float32]:
    """Noon sun to dim hall, shape (3, 4).

    Rows: the sun's direction and how soft it wraps; its colour and how even the sky's light is (1: as much
    from below as from above); the sky's colour and how bright edges are. Where evenness and edges are always
    the same, a reader tells a lean by them that another light does not show.
    """
    height, heading = rng.uniform(0.05, 1.5), rng.uniform(0, 2 * np.pi)
    way = [np.cos(height) * np.cos(heading), np.cos(height) * np.sin(heading), np.sin(height)]
    sun, sky = rng.uniform(0.0, 1.5), rng.uniform(0.15, 0.8)
    warm = 1 + rng.normal(0, 0.08, 3)
    cool = 1 + rng.normal(0, 0.08, 3)
    even, edge = rng.uniform(0.1, 1.0), rng.uniform(0, 0.3)
    return np.array([[*way, rng.uniform(0, 0.7)], [*(sun * warm), even], [*(sky * cool), edge]], np.float32)


def icosphere(times: int) -> tuple[Array, NDArray[np.int32]]:
    """A unit sphere of triangles: an icosahedron split `times` over, counter-clockwise from outside."""
    g = (1 + 5**0.5) / 2
    points = np.array(
        [
            *[(-1, g, 0), (1, g, 0), (-1, -g, 0), (1, -g, 0), (0, -1, g), (0, 1, g)],
            *[(0, -1, -g), (0, 1, -g), (g, 0, -1), (g, 0, 1), (-g, 0, -1), (-g, 0, 1)],
        ],
        float,
    )
    text = (
        "0 11 5 0 5 1 0 1 7 0 7 10 0 10 11 1 5 9 5 11 4 11 10 2 10 7 6 7 1 8 "
        "3 9 4 3 4 2 3 2 6 3 6 8 3 8 9 4 9 5 2 4 11 6 2 10 8 6 7 9 8 1"
    )
    triangles = points[np.array(text.split(), int).reshape(-1, 3)]
    for _ in range(times):
        a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        triangles = np.concatenate(
            [np.stack(t, 1) for t in ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))]
        )
    corners = triangles.reshape(-1, 3)
    places, index = np.unique(np.round(corners, 9), axis=0, return_inverse=True)
    return places / np.linalg.norm(places, axis=1, keepdims=True), index.reshape(-1, 3).astype(np.int32)
