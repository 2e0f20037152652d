"""Training, export and inference of the readers on drawn stand-ins for rendered crops. Needs torch."""

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from release.landmarks.read_models import OWN_WEIGHTS
from release.landmarks.result import KINDS
from release.workshop.result import Crops

ROOT = Path(__file__).parents[2]
pytestmark = [pytest.mark.system, pytest.mark.timeout(300), pytest.mark.filterwarnings("ignore")]


def drawn_crops(count: int, side: int) -> Crops:
    """A bright disc where the wrist is, on nothing."""
    rng = np.random.default_rng(4)
    image = np.zeros((count, side, side, 4), np.uint8)
    wrist = rng.uniform(0.35, 0.65, (count, 2)) * side
    y, x = np.mgrid[0:side, 0:side] + 0.5
    for k in range(count):
        image[k, np.hypot(x - wrist[k, 0], y - wrist[k, 1]) < 0.1 * side] = 255
    points = np.repeat(wrist[:, None], 12, axis=1) + rng.normal(0, 4, (1, 12, 2))
    turns = Rotation.random(count, rng=5).as_matrix()
    one = np.ones(count)
    return Crops(
        image=image,
        points_px=points.astype(np.float32),
        visible=np.ones((count, 12), bool),
        ball_radius_px=(0.08 * side * one).astype(np.float32),
        held=one > 0,
        palm=turns.astype(np.float32),
        forearm=turns[:, :, 1].astype(np.float32),
        upper_arm=turns[:, :, 0].astype(np.float32),
        shoulder_px=(wrist + 20).astype(np.float32),
        right=rng.random(count) < 0.5,
        present=one > 0,
        strange=one < 0,
        width_m=(0.5 * one).astype(np.float32),
        palm_px=(30 * one).astype(np.float32),
        blur_px=one.astype(np.float32),
        since_release_s=(0 * one).astype(np.float32),
        body=np.zeros(count, np.int16),
        grip=np.zeros(count, np.int16),
        throw=np.arange(count, dtype=np.int32),
    )


def pictures(kind):
    import torch

    from release.workshop.augment import draw_banks
    from release.workshop.backdrops import Draw
    from release.workshop.train import Pictures

    draw = Draw(torch.Generator().manual_seed(1))
    return Pictures(
        drawn_crops(16, 256 if kind == "arm" else 192), kind, draw, draw_banks(draw, behind=6, before=4)
    )


@pytest.mark.parametrize("kind", KINDS)
def test_a_few_steps_train_and_the_exported_file_reads_as_the_network_does(kind, tmp_path):
    import onnxruntime
    import torch

    from release.workshop.export import NAMES, Readable, export
    from release.workshop.network import Reader
    from release.workshop.train import load, train, validate

    torch.manual_seed(0)
    some, checkpoint = pictures(kind), tmp_path / f"{kind}.pt"
    train(Reader(kind), some, steps=3, batch=8, rate=1e-3, checkpoint=checkpoint)
    assert all(np.isfinite(v) for v in validate(load(checkpoint, kind), some, 8).values())
    export(checkpoint, kind, tmp_path / "reader.onnx")
    picture, _ = some.batch(torch.arange(2))
    session = onnxruntime.InferenceSession(tmp_path / "reader.onnx", providers=["CPUExecutionProvider"])
    with torch.no_grad():
        wanted = Readable(load(checkpoint, kind), kind).eval()(picture)
    for name, here, there in zip(
        NAMES[kind], wanted, session.run(list(NAMES[kind]), {"picture": picture.numpy()}), strict=True
    ):
        assert there == pytest.approx(here.numpy(), rel=0.02, abs=0.05), name


@pytest.mark.parametrize("kind", KINDS)
def test_the_packaged_network_is_what_its_checkpoint_exports(kind, tmp_path):
    import onnx
    from onnx import numpy_helper

    from release.workshop.export import export

    export(ROOT / "release" / "workshop" / "checkpoints" / f"{kind}.pt", kind, tmp_path / "reader.onnx")
    exported, packaged = (
        onnx.load(p).graph for p in (tmp_path / "reader.onnx", OWN_WEIGHTS / f"{kind}.onnx")
    )
    assert [node.op_type for node in packaged.node] == [node.op_type for node in exported.node]
    for ours, theirs in zip(packaged.initializer, exported.initializer, strict=True):
        here, there = (numpy_helper.to_array(weight).astype(float) for weight in (ours, theirs))
        # Another machine's arithmetic may round a weight to the next whole number.
        atol = 1 if ours.name.endswith("_int8") else 1e-6
        np.testing.assert_allclose(here, there, rtol=2e-3, atol=atol, err_msg=ours.name)


def test_training_for_the_elbow_goes_on_from_a_hands_reader_with_what_sees_and_not_with_what_answers():
    import torch

    from release.workshop.network import Reader
    from release.workshop.train import begun, load

    hand = ROOT / "release" / "workshop" / "checkpoints" / "hand.pt"
    torch.manual_seed(0)
    fresh = Reader("elbow").state_dict()
    torch.manual_seed(0)
    elbow, theirs = begun(hand, "elbow").state_dict(), load(hand, "hand").state_dict()
    assert torch.equal(elbow["stages.3.0.layers.0.weight"], theirs["stages.3.0.layers.0.weight"])
    assert torch.equal(elbow["other_head.weight"], fresh["other_head.weight"])
    with pytest.raises(RuntimeError, match="size mismatch"):
        load(hand, "elbow")


def test_labels_move_with_the_picture():
    """The disc is where the label says, after any zoom, turn, shift and lean."""
    import torch

    from release.workshop.augment import _leaning, _sample, _theta, moved_labels, windows

    some = pictures("hand")
    own = some.labels
    own["points"][:] = own["points"][:, 1:2]
    zoom, turn, shift = windows(some.draw, "hand", own)
    flip = torch.ones(16)
    theta = _leaning(some.draw, _theta(zoom, turn, shift, flip))
    moved = moved_labels(own, zoom, turn, theta, flip)
    person = _sample(some.draw, some.image.permute(0, 3, 1, 2), theta, "border", 192)[:, 0].numpy()
    y, x = np.mgrid[0:192, 0:192] + 0.5
    for k in range(16):
        centre = [(person[k] * axis).sum() / person[k].sum() / 192 for axis in (x, y)]
        crops_own = drawn_crops(16, 192)
        off = (
            crops_own.points_px[k, 1] - crops_own.points_px[k].mean(0)
        ) / 192  # the drawn scatter of points
        assert np.abs(moved["points"][k, 1].numpy() - centre).max() < 0.05 + np.abs(off).max()


def test_directions_turn_with_the_picture_as_scipy_turns_them():
    import torch

    from release.workshop.augment import _theta, moved_labels

    own = {name: t[:1] for name, t in pictures("hand").labels.items()}
    turn, one = torch.tensor([0.4]), torch.ones(1)
    theta = _theta(one, turn, torch.zeros(1, 2), one)
    moved = moved_labels(own, one, turn, theta, one)
    spin = Rotation.from_euler("z", -0.4).as_matrix()
    assert moved["palm"][0].numpy() == pytest.approx(spin @ own["palm"][0].numpy(), abs=1e-5)
    assert moved["direction"][0].numpy() == pytest.approx(spin @ own["direction"][0].numpy(), abs=1e-5)


def test_the_palms_small_rotation_is_the_one_scipy_finds():
    import torch

    from release.workshop.losses import rotation_vector

    vectors = Rotation.random(50, rng=3).as_rotvec()
    matrices = torch.tensor(Rotation.from_rotvec(vectors).as_matrix())
    assert rotation_vector(matrices).numpy() == pytest.approx(vectors, abs=1e-6)


def test_six_numbers_make_a_proper_rotation_with_the_columns_in_order():
    import torch

    from release.workshop.network import rotation_from_six

    turn = Rotation.random(8, rng=6).as_matrix()
    six = torch.tensor(np.concatenate([2 * turn[:, :, 1], turn[:, :, 2] + 0.3 * turn[:, :, 1]], axis=1))
    assert rotation_from_six(six).numpy() == pytest.approx(turn)


TOGETHER = """
import os, sys, torch
from torch import distributed
from release.workshop.network import Reader
from release.workshop.train import together

distributed.init_process_group("gloo")
reader = Reader("arm")
for weight in reader.parameters():
    torch.nn.init.constant_(weight, distributed.get_rank())
together(reader)
assert all((weight == 0.5).all() for weight in reader.parameters())
distributed.destroy_process_group()
"""


def test_those_that_train_together_take_the_mean_of_their_weights(tmp_path):
    import subprocess
    import sys

    script = tmp_path / "together.py"
    script.write_text(TOGETHER)
    run = [
        sys.executable,
        "-m",
        "torch.distributed.run",
        "--standalone",
        "--nproc-per-node",
        "2",
        str(script),
    ]
    done = subprocess.run(run, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)})
    assert done.returncode == 0, done.stderr[-2000:]


def test_what_takes_an_arms_place_is_labelled_as_nobody():
    import torch

    from release.workshop.augment import _stick, augmented

    some = pictures("hand")
    drawn = _stick(some.draw, some.draw, 64, 192)
    there = drawn[:, 3].amax((1, 2)) > 0
    assert 0.2 < there.float().mean() < 0.8, "in about half of the pictures"
    index = torch.zeros(400, dtype=torch.long)
    own = {name: t[index] for name, t in some.labels.items()}
    _, labels = augmented(some.draw, "hand", some.image[index], some.image[index], own, some.banks)
    assert 0.04 < 1 - labels["present"].mean() < 0.13
    assert (labels["strange"][labels["present"] == 0] == 1).all()


def test_rain_and_dirt_make_a_picture_strange_and_leave_the_pose_as_it_is(monkeypatch):
    import torch

    from release.workshop import augment
    from release.workshop.backdrops import Draw

    some = pictures("hand")
    index = torch.arange(200) % 16
    own = {name: t[index] for name, t in some.labels.items()}
    monkeypatch.setattr(augment, "_filmed", lambda draw, scene, sources_px: scene)

    def scenes():
        draw = Draw(torch.Generator().manual_seed(2))
        return augment.augmented(draw, "hand", some.image[index], some.image[index], own, some.banks)

    covered, labels = scenes()
    monkeypatch.setattr(augment, "_spoil", lambda draw, pixels, scene, banks: torch.zeros(len(scene)))
    clear, usual = scenes()
    changed = (covered != clear).any((1, 2, 3))
    assert changed.float().mean() == pytest.approx(0.17), "a twelfth rained on, a twelfth through dirt"
    spoilt = labels["strange"] > usual["strange"]
    assert changed[spoilt].all()
    assert spoilt.sum() > 10
    for name in set(labels) - {"strange"}:
        assert torch.equal(labels[name], usual[name]), name


def test_a_reader_that_learns_what_is_strange_reads_all_else_as_before(tmp_path):
    import torch

    from release.workshop.network import Reader
    from release.workshop.train import load, save, train

    torch.manual_seed(0)
    save(Reader("hand"), tmp_path / "before.pt")
    reader = load(tmp_path / "before.pt", "hand")
    some = pictures("hand")
    some.labels["strange"][::2] = 1
    train(reader, some, steps=6, batch=8, rate=1e-2, checkpoint=tmp_path / "after.pt", strange_only=True)
    before, after = (torch.load(tmp_path / f"{age}.pt", weights_only=True) for age in ("before", "after"))
    same = {name: torch.equal(values, after[name]) for name, values in before.items()}
    assert {name for name in same if not same[name]} >= {"strange.1.weight", "strange.3.bias"}
    assert all(same[name] for name in same if not name.startswith("strange"))


def test_strange_pictures_are_told_above_all_but_two_in_a_hundred_of_the_others():
    import torch

    from release.workshop.losses import share_told

    logits = torch.cat([torch.linspace(0, 1, 100), torch.tensor([0.5, 0.97, 0.99, 2.0])])
    assert share_told(logits, torch.arange(104) >= 100) == 0.5
