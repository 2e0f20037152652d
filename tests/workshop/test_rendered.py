"""Baked bodies against the model they come from, pictures against their labels. Needs anny, torch and GL."""

import json

import numpy as np
import pytest

from release.clip.read import read_clip
from release.frames.decode import decode
from release.landmarks.result import HAND_POINTS
from release.orientation.read_truth import read_truth
from release.workshop import bodies as baking
from release.workshop import proportions
from release.workshop.fingers import BALL_RADIUS_M, INDEX_KINDS, Grip, hold, load_grips
from release.workshop.proportions import reshaped
from release.workshop.skeleton import Rest, bone_matrices

LENGTHS = (("shoulder", "elbow"), ("elbow", "wrist"), ("wrist", "middle_mcp"))

pytestmark = [pytest.mark.system, pytest.mark.timeout(600)]


def people_of(baked_file):
    return baking.load(baked_file), load_grips(baked_file)


def skinned(people, matrices) -> np.ndarray:
    """The mesh as the vertex shader poses it."""
    points = people.vertices_m[0]
    out = np.zeros_like(points)
    for k in range(baking.INFLUENCES):
        m = matrices[people.bone_index[:, k]]
        placed = np.einsum("vij,vj->vi", m[:, :, :3], points) + m[:, :, 3]
        out += people.bone_weight[:, k : k + 1] * placed
    return out


def test_our_skinning_agrees_with_the_models_own(people):
    import torch
    from scipy.spatial.transform import Rotation

    turn = Rotation.from_euler("ZXY", [40, -30, 20], degrees=True).as_matrix()
    model = baking.make_model()
    values = {
        name: torch.tensor([v[0]], dtype=torch.float32) for name, v in baking.draw_phenotypes(22, 3).items()
    }
    rest = model(phenotype_kwargs=values)
    pose = rest["rest_bone_poses"].clone()
    moved = {model.bone_labels.index(n) for n in ("lowerarm01.R", "lowerarm02.R", "wrist.R")}
    for b, parent in enumerate(model.bone_parents):  # all below the elbow turn with it
        if parent in moved:
            moved.add(b)
    elbow = rest["rest_bone_heads"][0, model.bone_labels.index("lowerarm01.R")].to(pose.dtype)
    whole = torch.eye(4, dtype=pose.dtype)
    whole[:3, :3] = torch.tensor(turn, dtype=pose.dtype)
    whole[:3, 3] = elbow - whole[:3, :3] @ elbow
    for b in moved:
        pose[0, b] = whole @ pose[0, b]
    theirs = model(pose, phenotype_kwargs=values, pose_parameterization="world")["vertices"][0].numpy()
    root = people.heads_m[0, :1].astype(float)
    matrices = bone_matrices(people, 0, {"lowerarm01.R": turn[None]}, root, np.eye(3)[None])[0]
    off = np.linalg.norm(skinned(people, matrices) - theirs, axis=1)
    assert np.median(off) < 1e-4
    assert np.percentile(off, 99) < 2e-3, "only vertices with more than four bones differ"


@pytest.mark.parametrize("index", INDEX_KINDS)
def test_fingers_touch_the_ball_and_do_not_pass_through_it(people, index):
    from release.workshop.fingers import SKIN_M, _Hand, _posed

    held = hold(people, 0, Grip(index=index))
    hand = _Hand.of(people, 0)
    joints, tips = _posed(hand, held.rotvec @ hand.axes)
    skin = SKIN_M * hand.scale
    gap = np.linalg.norm(tips - held.ball, axis=1) - BALL_RADIUS_M - skin
    assert np.abs(gap[:3]).max() < 0.006, "thumb, index and middle finger touch"
    assert (np.linalg.norm(joints - held.ball, axis=2) - BALL_RADIUS_M).min() > 0


def lengths_m(bodies) -> np.ndarray:
    """Upper arm, forearm and palm of everybody, shape (n, 3)."""
    rests = [Rest.of(bodies, i).points for i in range(len(bodies.vertices_m))]
    return np.array([[np.linalg.norm(p[n] - p[m]) for m, n in LENGTHS] for p in rests])


def test_reshaped_arms_differ_in_every_length_and_stay_in_one_piece(people):
    held = hold(people, 0, Grip())
    others, moved_grips = reshaped(people, [[held]] * 22, np.random.default_rng(5))
    upper, fore, palm = lengths_m(others).T
    apart = np.log([upper / fore, fore / palm])
    assert (apart.std(1) > 0.04).all()
    assert (apart.std(1) < 0.12).all()
    joint = people.bone("wrist.R")
    near = np.flatnonzero(np.linalg.norm(people.vertices_m[0] - people.heads_m[0, joint], axis=1) < 0.03)
    off = np.linalg.norm(others.vertices_m[0, near] - others.heads_m[0, joint], axis=1)
    assert off.max() < 0.04, "the wrist's skin stays round the wrist"
    left = people.vertices_m[0, :, 0] > 0.02
    assert (others.vertices_m[0, left] == people.vertices_m[0, left]).all(), "only the throwing arm"
    balls = np.array([row[0].ball[1] for row in moved_grips]) / held.ball[1]
    grown = palm / lengths_m(people)[:, 2]
    assert balls == pytest.approx(grown, rel=0.02), "the ball lies where the grown hand holds it"


def test_women_and_men_have_arms_of_the_same_proportions(people, monkeypatch):
    monkeypatch.setattr(proportions, "LENGTH_SD", 0.0)
    grips = [[hold(people, 0, Grip())]] * 22
    upper, fore, palm = lengths_m(reshaped(people, grips, np.random.default_rng(5))[0]).T
    assert upper / fore == pytest.approx(np.full(22, proportions.UPPER_PER_FORE), rel=0.01)
    assert fore / palm == pytest.approx(np.full(22, proportions.FORE_PER_PALM), rel=0.01)


def test_an_arm_is_fuller_just_where_it_is_asked_to_be(people):
    rest = Rest.of(people, 0)
    elbow, wrist = rest.points["elbow"], rest.points["wrist"]
    way = wrist - elbow
    square = rest.hand[:, 0] - (rest.hand[:, 0] @ way) * way / (way @ way)
    round_forearm = elbow + np.linspace(0.05, 0.95, 10)[:, None] * way + 0.03 * square
    fuller = np.array([0, 0, 0.1, 0.1, 0, 0, 0])  # elbow and belly of the forearm
    moved = proportions.tapered(rest, round_forearm, fuller, 0.0)
    grown = np.log(np.linalg.norm(np.cross(moved - elbow, way), axis=1) / np.linalg.norm(way) / 0.03)
    grown -= np.log(np.linalg.norm(square))
    assert grown[:3] == pytest.approx(0.1, abs=0.005)
    assert (np.diff(grown) <= 1e-9).all(), "and tapers off"
    assert grown[-3:] == pytest.approx(0, abs=1e-9)
    assert ((moved - round_forearm) @ way) == pytest.approx(np.zeros(10), abs=1e-9), "across, not along"


@pytest.mark.parametrize(
    ("kind", "shown"),
    [
        ("hand", ("wrist", "middle_mcp")),
        ("detail", ("wrist", "middle_mcp")),
        ("elbow", ("elbow",)),
    ],
)
def test_pictures_show_the_hand_where_the_labels_say(baked_file, monkeypatch, kind, shown):
    from release.workshop import crops

    monkeypatch.setitem(crops.GRID, kind, (4, 4))
    monkeypatch.setattr(crops, "KEPT_OUT_BODIES", 20)
    found = crops.render_many(baked_file, 16, 5, kind=kind, kept_out=False, workers=1, strange=0)
    alpha = found.image[..., 3]
    for k in range(len(found)):
        for name in shown:
            x, y = found.points_px[k, HAND_POINTS.index(name)].astype(int)
            assert alpha[k, y - 4 : y + 5, x - 4 : x + 5].max() > 128, f"picture {k}: nothing at the {name}"
    again = crops.render_many(baked_file, 16, 5, kind=kind, kept_out=False, workers=1, strange=0)
    assert (again.image == found.image).all(), "a seed gives the same pictures"
    assert np.linalg.det(found.palm) == pytest.approx(np.ones(16), abs=1e-4), "always a right hand"


@pytest.mark.parametrize("kind", ["body part", "glove hand", "thing", "mannequin"])
def test_a_strange_throw_is_labelled_so_and_poses_count_where_the_hand_is_there(
    baked_file, monkeypatch, kind
):
    from release.workshop import crops, strange_throws

    monkeypatch.setitem(crops.GRID, "hand", (4, 4))
    monkeypatch.setattr(strange_throws, "KINDS", {kind: 1.0})
    found = crops.render_crops(
        *people_of(baked_file), count=16, seed=5, kind="hand", kept_out=False, strange=1
    )
    here = kind in ("thing", "mannequin")
    assert found.strange.all()
    assert (found.present == here).all()
    assert not found.held.any()
    assert not found.visible[:, HAND_POINTS.index("ball")].any()
    assert ((found.image[..., 3] / 255).mean((1, 2)) > 0.02).all(), "something is there"
    knuckle = found.points_px[:, HAND_POINTS.index("middle_mcp")]
    assert (((knuckle > 0) & (knuckle < 224)).all(1) == here).all()


@pytest.mark.parametrize("kind", ["detail", "elbow", "arm"])
def test_arms_and_details_are_never_drawn_strange(baked_file, monkeypatch, kind):
    from release.workshop import crops

    monkeypatch.setitem(crops.GRID, kind, (2, 2))
    found = crops.render_crops(*people_of(baked_file), count=4, seed=5, kind=kind, kept_out=False, strange=1)
    assert not found.strange.any()
    assert found.present.all()


def test_a_detail_is_centred_on_the_hand_and_shows_it_twice_as_large(baked_file, monkeypatch):
    from release.workshop import crops

    seen = {}
    for kind in ("hand", "detail"):
        monkeypatch.setitem(crops.GRID, kind, (4, 4))
        seen[kind] = crops.render_crops(
            *people_of(baked_file), count=16, seed=5, kind=kind, kept_out=False, strange=0
        )
    wrist, knuckle = (
        seen["detail"].points_px[:, HAND_POINTS.index(name)] for name in ("wrist", "middle_mcp")
    )
    side_px = crops.SIDE_PX["detail"]
    assert np.abs((wrist + knuckle) / 2 / side_px - 0.5).max() < 0.25
    assert seen["hand"].width_m.mean() / seen["detail"].width_m.mean() == pytest.approx(0.68 / 0.36, rel=0.1)


def test_an_elbows_picture_is_centred_up_the_forearm(baked_file, monkeypatch):
    from release.workshop import crops

    monkeypatch.setitem(crops.GRID, "elbow", (4, 4))
    seen = crops.render_crops(*people_of(baked_file), count=16, seed=5, kind="elbow", kept_out=False)
    elbow, wrist = (
        seen.points_px[:, HAND_POINTS.index(name)] / crops.SIDE_PX["elbow"] for name in ("elbow", "wrist")
    )
    assert np.abs(elbow + 0.3 * (wrist - elbow) - 0.5).max() < 0.25
    assert ((elbow > 0) & (elbow < 1)).all()
    assert np.linalg.norm(seen.upper_arm, axis=1) == pytest.approx(np.ones(16), abs=1e-4)


def test_light_as_even_from_all_sides_as_can_be_shows_no_shape(baked_file, monkeypatch):
    from release.workshop import crops

    look = np.zeros((13, 4), np.float32)
    look[:8, :3], look[11, :3] = 0.5, 0.5  # one colour for all, nothing mottled, woven or folded
    look[8] = [-1, 9, 9, 2]  # no sleeve, band or hair line
    monkeypatch.setitem(crops.GRID, "arm", (4, 4))
    monkeypatch.setattr(crops, "draw_looks", lambda rng: look)
    spread = {}
    for even in (0.1, 1.0):
        light = np.array([[0, 0, 1, 0], [0, 0, 0, even], [0.5, 0.5, 0.5, 0]], np.float32)
        monkeypatch.setattr(crops, "draw_light", lambda rng, light=light: light)
        found = crops.render_crops(*people_of(baked_file), count=16, seed=5, kind="arm", kept_out=False)
        bright = found.image[found.image[..., 3] == 255][:, 0]
        spread[even] = float(np.subtract(*np.quantile(bright, [0.9, 0.1])))
    assert spread[1.0] <= 2, "an even light leaves only the ball's shade and the nails"
    assert spread[0.1] > 20, "a light from above shows what lies below"


def test_a_tiny_clip_is_read_back_with_its_truth(baked_file, tmp_path):
    from release.workshop.clips import Wanted, write_clips

    wanted = Wanted(baked=baked_file, out=tmp_path, seed=3, cameras=2, throws=2, kept_out=False, tiny=True)
    write_clips(wanted, 1, workers=1)
    one, two, next_one, next_two = (json.loads(p.read_text()) for p in sorted(tmp_path.glob("*.truth.json")))
    for first, second in ((one, two), (next_one, next_two)):
        assert first["throw_id"] == second["throw_id"]
        assert first["at_release"]["world"] == second["at_release"]["world"]
    assert (next_one["K"], next_one["R"], next_one["t"]) == (one["K"], one["R"], one["t"])
    assert next_one["filmed_as"] == one["filmed_as"] != two["filmed_as"]
    turned = (
        next_one["at_release"]["angles"]["forearm_rotation"] - one["at_release"]["angles"]["forearm_rotation"]
    )
    assert 0.1 < abs(turned) < 40
    truth = read_truth(tmp_path / "clip_001_1_a.truth.json")
    clip = read_clip(truth.path)
    assert len(clip.presentation_s) == len(truth.frame_time_s)
    assert np.ptp(decode(clip, 0, 0).images[0]) > 50
