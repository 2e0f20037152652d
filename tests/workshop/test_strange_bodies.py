"""What the bench of unfamiliar pictures draws: seen where it should be. Needs anny, torch and GL."""

import numpy as np
import pytest

from release.landmarks.result import HAND_POINTS

pytestmark = [pytest.mark.system, pytest.mark.timeout(600)]


@pytest.fixture(scope="module")
def strange(pytestconfig):
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(pytestconfig.rootpath / "tests" / "bench")
        import strange_bodies

        yield strange_bodies


def covered(strange, kind, baked_file):
    """Share of each picture that the body and what it holds cover, and the labels."""
    crops = strange._rendered(kind, baked_file, 16, np.random.default_rng(3))
    return crops, (crops.image[..., 3] / 255).mean((1, 2))


def test_an_open_hand_has_no_ball(strange, baked_file):
    ball = HAND_POINTS.index("ball")
    seen = {k: covered(strange, k, baked_file)[0].visible[:, ball] for k in (strange.OPEN, strange.ARM)}
    assert not seen[strange.OPEN].any()
    assert seen[strange.ARM].any()


def test_a_thing_lies_where_the_label_says_and_is_of_its_own_colour(strange, baked_file, monkeypatch):
    green = np.zeros((13, 4), np.float32)
    green[:8, :3], green[1, :3], green[8] = 0.5, (0, 0.9, 0), (-1, 9, 9, 2)
    light = np.array([[0, 0, 1, 0], [0, 0, 0, 1], [1, 1, 1, 0]], np.float32)
    monkeypatch.setattr(strange, "draw_looks", lambda rng: green)
    monkeypatch.setattr(strange, "draw_light", lambda rng: light)
    monkeypatch.setattr(strange, "THINGS", {"large ball": (1, 1)})
    crops, _ = covered(strange, strange.THING, baked_file)
    ball = HAND_POINTS.index("ball")
    for image, (x, y) in zip(crops.image.astype(int), crops.points_px[:, ball].astype(int), strict=True):
        seen = image[y - 3 : y + 4, x - 3 : x + 4]
        assert ((seen[..., 1] - seen[..., 0]) > 60).mean() > 0.3, "the fingers hide some of it"


@pytest.mark.parametrize("kind", ["BODY", "GLOVE"])
def test_other_parts_of_the_body_fill_the_middle_and_the_throwing_hand_is_outside(strange, baked_file, kind):
    crops, share = covered(strange, getattr(strange, kind), baked_file)
    assert (share > 0.02).all()
    knuckle = crops.points_px[:, HAND_POINTS.index("middle_mcp")]
    side = crops.image.shape[1]
    assert not ((knuckle > 0) & (knuckle < side)).all(1).any()


def test_a_mannequin_is_of_one_colour(strange, baked_file, monkeypatch):
    monkeypatch.setattr(
        strange, "draw_light", lambda rng: np.array([[0, 0, 1, 0], [0, 0, 0, 1], [1, 1, 1, 0]], np.float32)
    )
    crops, _ = covered(strange, strange.MANNEQUIN, baked_file)
    for image in crops.image:
        solid = image[image[..., 3] == 255][:, :3].astype(float)
        assert np.ptp(np.quantile(solid, [0.05, 0.95], axis=0), axis=0).max() < 8


def test_rain_and_dirt_lie_over_the_same_pictures(strange, baked_file):
    bare, wet, dirty = (strange.drawn(k, baked_file, 16) for k in (strange.ARM, strange.RAIN, strange.DIRT))
    assert (wet.palm == bare.palm).all()
    for over in (wet, dirty):
        off = np.abs(over.images.astype(float) - bare.images).mean((1, 2, 3))
        assert (off > 2).all()
