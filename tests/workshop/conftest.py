"""A stick figure with the bones that a throw poses, which needs no body model; and people of that model."""

import numpy as np
import pytest

from release.workshop import bodies as baking
from release.workshop.bodies import Bodies
from release.workshop.fingers import Grip, hold

# name, parent, head (metres; facing -y, right hand at -x)
_TRUNK = [
    ("root", "", (0, 0, 1.0)),
    ("spine05", "root", (0, 0, 1.05)),
    ("spine04", "spine05", (0, 0, 1.12)),
    ("spine03", "spine04", (0, 0, 1.2)),
    ("spine02", "spine03", (0, 0, 1.3)),
    ("spine01", "spine02", (0, 0, 1.4)),
    ("neck01", "spine01", (0, 0, 1.5)),
    ("head", "neck01", (0, 0, 1.6)),
]


def _side(side: str) -> list[tuple[str, str, tuple[float, float, float]]]:
    """Arm hanging obliquely with the elbow a little bent, palm to the thigh; and a leg."""
    s = -1.0 if side == "R" else 1.0
    arm = [
        ("clavicle", "spine01", (0.03, 0, 1.42)),
        ("upperarm01", "clavicle", (0.18, 0, 1.42)),
        ("upperarm02", "upperarm01", (0.265, 0, 1.32)),
        ("lowerarm01", "upperarm02", (0.35, 0, 1.22)),
        ("lowerarm02", "lowerarm01", (0.405, -0.06, 1.125)),
        ("wrist", "lowerarm02", (0.46, -0.12, 1.03)),
    ]
    for k, (out, forward) in enumerate(
        [(0.44, -0.17), (0.50, -0.175), (0.51, -0.155), (0.515, -0.135), (0.515, -0.115)]
    ):
        for j in range(3):
            above = "wrist" if j == 0 else f"finger{k + 1}-{j}"
            arm.append(
                (f"finger{k + 1}-{j + 1}", above, (out + 0.01 * j, forward - 0.012 * j, 0.96 - 0.028 * j))
            )
    leg = [("upperleg01", "root", (0.1, 0, 0.95)), ("lowerleg01", "upperleg01", (0.1, 0, 0.5))]
    leg.append(("foot", "lowerleg01", (0.1, 0, 0.08)))
    named = []
    for name, above, (x, y, z) in arm + leg:
        parent = above if above in ("spine01", "root") else f"{above}.{side}"
        named.append((f"{name}.{side}", parent, (s * x, y, z)))
    return named


@pytest.fixture(scope="session")
def stick() -> Bodies:
    bones = _TRUNK + _side("R") + _side("L")
    names = [b[0] for b in bones]
    heads = np.array([b[2] for b in bones], np.float32)
    tails = heads + np.array([0, -0.01, -0.025], np.float32)
    return Bodies(
        vertices_m=np.array([[(0, 0, 0), (0.1, 0, 0), (0, 0, 1.8)]], np.float32),
        heads_m=heads[None],
        tails_m=tails[None],
        phenotype=np.zeros((1, 1), np.float32),
        faces=np.array([[0, 1, 2]], np.int32),
        bone_index=np.zeros((3, 4), np.int16),
        bone_weight=np.array([[1, 0, 0, 0]] * 3, np.float32),
        names=tuple(names),
        parents=np.array([names.index(b[1]) if b[1] else -1 for b in bones], np.int16),
    )


@pytest.fixture(scope="session")
def people(tmp_path_factory):
    baked = baking.bake(22, 3)
    path = tmp_path_factory.mktemp("baked") / "bodies.npz"
    baking.save(baked, path)
    return baking.load(path)


@pytest.fixture(scope="session")
def baked_file(people, tmp_path_factory):
    path = tmp_path_factory.mktemp("baked") / "bodies.npz"
    baking.save(people, path)
    held = [hold(people, which, Grip()) for which in range(2)]
    turns = np.array([[held[w % 2].rotvec] for w in range(len(people.vertices_m))], np.float32)
    balls = np.array([[held[w % 2].ball] for w in range(len(people.vertices_m))], np.float32)
    np.savez_compressed(path.with_suffix(".grips.npz"), turns=turns, balls=balls)
    return path
