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


def test_a_thing_takes_the_balls_place_until_the_next_kind_is_drawn(strange, baked_file):
    studio = strange._stage(baked_file)[2]
    ball = studio.ball_mesh
    _, with_thing = covered(strange, strange.THING, baked_file)
    assert studio.ball_mesh is ball
    assert (with_thing > 0.02).all()


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
