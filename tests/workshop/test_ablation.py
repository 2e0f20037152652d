"""Holding one kind of variation still. Needs torch."""

import numpy as np
import pytest

pytestmark = [pytest.mark.system, pytest.mark.filterwarnings("ignore")]


def drawn(times: int) -> dict[str, list]:
    """What a rendering process draws of each kind, several times."""
    from release.workshop import crops

    rng = np.random.default_rng(3)
    target = np.array([0.0, 0.0, 1.5])
    return {
        "motions": [crops.draw_motion(rng).tilt_deg for _ in range(times)],
        "looks and light": [crops.draw_looks(rng).tolist() for _ in range(times)],
        "camera places": [np.degrees(np.arctan2(*crops._eye(target, rng)[1::-1])) for _ in range(times)],
    }


@pytest.mark.parametrize("still", ["motions", "looks and light"])
def test_what_is_held_still_is_the_same_each_time_and_free_again_afterwards(still):
    from release.workshop.ablation import held_still

    with held_still(still):
        held = drawn(3)
    free = drawn(3)
    assert held[still][0] == held[still][1] == held[still][2]
    assert free[still][0] != free[still][1]
    other = "motions" if still != "motions" else "looks and light"
    assert held[other][0] != held[other][1], "nothing else is held"


def test_cameras_held_still_stand_on_one_side():
    from release.workshop.ablation import held_still

    with held_still("camera places"):
        held = drawn(40)["camera places"]
    assert np.abs(np.array(held) - 90).max() < 20.1
    assert np.ptp(drawn(40)["camera places"]) > 180
