"""Bodies of many people, baked once from a parametric model and read without it.

`bake` needs torch and anny. Everything else here needs numpy only, so a machine that renders can do
with the baked file. World while at rest: z up, facing -y, right hand at -x, metres.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

STEP_M = 1 / 16000  # of the stored vertices; int16 then reaches 2.05 m
INFLUENCES = 4  # bones that move one vertex
SHARED = ("faces", "bone_index", "bone_weight", "names", "parents")
# Bones whose children move with them: we pose no toes, no face, no breasts.
MERGED = {"foot.L", "foot.R", "head"}
# Who throws: share, mean and SD of the stature in metres. Adults are measured as 1.75 (men) and 1.61 (women)
# in the United States (from memory); pitchers are taller, the spread is somewhat wider. The rest is assumed.
MEN, WOMEN, YOUTHS = (0.55, 1.82, 0.09), (0.2, 1.68, 0.08), (0.25, 1.6, 0.13)
YOUTH_AGE, WOMAN = 0.55, 0.5  # on the scales of `draw_phenotypes`
DROPPED = {"breast.L": "spine02", "breast.R": "spine02"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bodies:
    """n people with one mesh (v vertices, f triangles) and one tree of b bones."""

    vertices_m: NDArray[np.float32]  # shape (n, v, 3), at rest
    heads_m: NDArray[np.float32]  # shape (n, b, 3), where each bone begins
    tails_m: NDArray[np.float32]  # shape (n, b, 3), where each bone ends
    phenotype: NDArray[np.float32]  # shape (n, k), what each body was made of
    faces: NDArray[np.int32]  # shape (f, 3), counter-clockwise from outside
    bone_index: NDArray[np.int16]  # shape (v, 4)
    bone_weight: NDArray[np.float32]  # shape (v, 4), rows sum to 1
    names: tuple[str, ...]
    parents: NDArray[np.int16]  # shape (b,), -1 at the root; parents come first

    def bone(self, name: str) -> int:
        """Index of a bone by its name."""
        return self.names.index(name)

    def some(self, which: NDArray[np.int64] | list[int]) -> "Bodies":
        """The same mesh with only these people."""
        many = {k: getattr(self, k)[which] for k in ("vertices_m", "heads_m", "tails_m", "phenotype")}
        return Bodies(**many, **{k: getattr(self, k) for k in SHARED})


def how_likely(bodies: Bodies) -> NDArray[np.float64]:
    """How often each of the baked people is to be drawn, shape (n,), so that statures are those of people.

    The parametric model's statures spread twice as widely. A reader that has learnt so trusts no length in a
    picture, though the ball gives its scale.
    """
    stature_m = np.ptp(bodies.vertices_m[..., 2], axis=1)
    youth = bodies.phenotype[:, 1] < YOUTH_AGE
    woman = bodies.phenotype[:, 0] > WOMAN
    likely = np.zeros(len(youth))
    for some, (share, mean_m, sd_m) in ((~youth & ~woman, MEN), (~youth & woman, WOMEN), (youth, YOUTHS)):
        bell = np.exp(-0.5 * ((stature_m - mean_m) / sd_m) ** 2) * some
        likely += share * bell / max(bell.sum(), 1e-12)
    return likely / likely.sum()


def draw_phenotypes(count: int, seed: int) -> dict[str, NDArray[np.float64]]:
    """Draw people: both sexes, about 10 years to old age, every build and descent.

    Args:
        count: How many.
        seed: Of the draw.

    Returns:
        Name of each phenotype to its values, shape (count,), on anny's scales of 0 to 1.
    """
    rng = np.random.default_rng(seed)
    descent = rng.dirichlet([0.6, 0.6, 0.6], count)
    return {
        "gender": np.where(
            rng.random(count) < 0.62, rng.uniform(0, 0.25, count), rng.uniform(0.75, 1, count)
        ),  # 0 is a man's body, 1 a woman's
        "age": np.where(
            rng.random(count) < 0.25, rng.uniform(0.40, YOUTH_AGE, count), rng.uniform(YOUTH_AGE, 0.85, count)
        ),
        "muscle": rng.uniform(0.25, 0.95, count),
        "weight": np.clip(rng.normal(0.5, 0.2, count), 0.1, 1),
        "height": rng.uniform(0.2, 0.85, count),
        "proportions": rng.uniform(0.2, 1, count),
        "cupsize": rng.uniform(0.2, 0.6, count),
        "firmness": rng.uniform(0.4, 0.9, count),
        "african": descent[:, 0],
        "asian": descent[:, 1],
        "caucasian": descent[:, 2],
    }


def make_model():
    """The parametric model that bodies are baked from."""
    import anny

    return anny.Anny(rig="makehuman", topology="notoes", phenotypes="all", skinning_method="lbs")


def bake(count: int, seed: int) -> Bodies:
    """Bake people from the parametric model (slow the first time it runs).

    Args:
        count: How many people.
        seed: Of the draw of phenotypes.
    """
    import torch

    model = make_model()
    drawn = draw_phenotypes(count, seed)
    parts: list[dict[str, NDArray[np.float32]]] = []
    for k in range(count):
        values = {name: torch.tensor([v[k]], dtype=torch.float32) for name, v in drawn.items()}
        with torch.no_grad():
            out = model(phenotype_kwargs=values)
        rest = ("rest_vertices", "rest_bone_heads", "rest_bone_tails")
        parts.append({name: out[name][0].numpy().astype(np.float32) for name in rest})
    keep, target = _merged_bones(list(model.bone_labels), list(model.bone_parents))
    index, weight = _strongest(
        model.vertex_bone_indices.numpy(), model.vertex_bone_weights.numpy(), target, len(keep)
    )
    labels = [model.bone_labels[b] for b in keep]
    parents = [target[model.bone_parents[b]] if model.bone_parents[b] >= 0 else -1 for b in keep]
    return Bodies(
        vertices_m=np.stack([p["rest_vertices"] for p in parts]),
        heads_m=np.stack([p["rest_bone_heads"][keep] for p in parts]),
        tails_m=np.stack([p["rest_bone_tails"][keep] for p in parts]),
        phenotype=np.stack(list(drawn.values()), 1).astype(np.float32),
        faces=model.get_triangular_faces().numpy()[:, ::-1].astype(np.int32),
        bone_index=index,
        bone_weight=weight,
        names=tuple(labels),
        parents=np.array(parents, np.int16),
    )


def _merged_bones(labels: list[str], parents: list[int]) -> tuple[list[int], list[int]]:
    """Bones kept, and for every bone the kept one (by new index) that stands for it."""
    stands = list(range(len(labels)))
    for b, label in enumerate(labels):
        up = parents[b]
        if label in DROPPED:
            stands[b] = labels.index(DROPPED[label])
        elif up >= 0 and (labels[stands[up]] in MERGED or stands[up] != up):
            stands[b] = stands[up]
    keep = [b for b, s in enumerate(stands) if s == b]
    return keep, [keep.index(s) for s in stands]


def _strongest(
    index: NDArray[np.int64], weight: NDArray[np.float32], target: list[int], bones: int
) -> tuple[NDArray[np.int16], NDArray[np.float32]]:
    dense = np.zeros((len(index), bones), np.float32)
    np.add.at(dense, (np.arange(len(index))[:, None], np.array(target)[index]), weight)
    top = np.argsort(-dense, axis=1)[:, :INFLUENCES]
    strong = np.take_along_axis(dense, top, 1)
    return top.astype(np.int16), strong / strong.sum(1, keepdims=True)


def save(bodies: Bodies, path: Path) -> None:
    """Write baked bodies to one compressed file."""
    np.savez_compressed(
        path,
        vertices=np.round(bodies.vertices_m / STEP_M).astype(np.int16),
        heads=bodies.heads_m,
        tails=bodies.tails_m,
        phenotype=bodies.phenotype,
        faces=bodies.faces.astype(np.int32),
        bone_index=bodies.bone_index,
        bone_weight=bodies.bone_weight.astype(np.float16),
        names=np.array(bodies.names),
        parents=bodies.parents,
    )


def load(path: Path) -> Bodies:
    """Read what `save` wrote."""
    with np.load(path) as f:
        weight = f["bone_weight"].astype(np.float32)
        return Bodies(
            vertices_m=f["vertices"].astype(np.float32) * np.float32(STEP_M),
            heads_m=f["heads"],
            tails_m=f["tails"],
            phenotype=f["phenotype"],
            faces=f["faces"],
            bone_index=f["bone_index"],
            bone_weight=weight / weight.sum(1, keepdims=True),
            names=tuple(str(n) for n in f["names"]),
            parents=f["parents"],
        )
