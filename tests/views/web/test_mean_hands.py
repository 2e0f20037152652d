"""The mean hands of two cues: drawn as the definitions of the angles say, from the throws that count."""

import uuid
from dataclasses import replace

import numpy as np
import pytest

from release.orientation.angles import joint_angles_deg
from release.orientation.result import Estimate
from release.record import write
from release.stats.result import Comparison
from release.views.web.figures import direction
from release.views.web.mean_hands import groups
from release.views.web.read_session import read_session
from tests.record.filled import fill, measured
from tests.views.web.served import Asked, page

CUES = ("long arm", "short arm")
RIGHT, UP, NEAR = np.eye(3)  # of the drawing; NEAR comes out of it


def compared(*_):
    one = {"pitch": "slider", "cue_a": CUES[0], "cue_b": CUES[1], "n_a": 2, "n_b": 1, "answer": "changed"}
    one |= {
        "figure": "wrist_flexion_deg",
        "difference": 4.0,
        "low": -2.0,
        "high": 10.0,
        "unit": "throw",
        "why": "as drawn",
    }
    return [Comparison(athlete="A1", **one)]


@pytest.fixture
def served(tmp_path):
    """A session of six throws by one athlete; the flexion of throw n is 10 n degrees."""
    with page(tmp_path / "logbook", lambda: replace(Asked().steps(), compare=compared)) as running:
        session, clips = fill(running.logbook, tmp_path, athletes=("A1",), n=6)
        for i, clip in enumerate(clips, 1):
            kept = measured(clip, models="again")
            bent = Estimate(value=10.0 * i, sd=2.0, low=10.0 * i - 4, high=10.0 * i + 4, refused=None)
            hand = replace(kept.orientation, figures={**kept.orientation.figures, "wrist_flexion": bent})
            write.save_measurement(running.logbook, replace(kept, orientation=hand))
        yield running, session, clips


def reject(served, clip):
    body = {"fact": uuid.uuid4().hex, "accepted": False}
    served.client.post(f"/clip/{clip}/verdict", json=body).raise_for_status()


@pytest.mark.parametrize("angle_deg", [-70, -20, 0, 35, 80])
def test_each_view_shows_the_angle_that_the_definitions_give(angle_deg):
    def points(figure):
        x, y = direction(figure, angle_deg)
        return x * RIGHT + y * UP

    def angle(name, *, forearm, hand, thumb, upper_arm):
        palm = np.stack([thumb, hand, np.cross(thumb, hand)], axis=-1)
        return joint_angles_deg(upper_arm, forearm, palm, "R")[name]

    hand = points("wrist_flexion_deg")
    bent = angle("wrist_flexion", forearm=RIGHT, hand=hand, thumb=NEAR, upper_arm=UP)
    assert bent == pytest.approx(angle_deg)
    hand = points("wrist_deviation_deg")
    aside = angle("wrist_deviation", forearm=UP, hand=hand, thumb=np.cross(hand, -NEAR), upper_arm=RIGHT)
    assert aside == pytest.approx(angle_deg)
    thumb = points("forearm_rotation_deg")
    turned = angle("forearm_rotation", forearm=-NEAR, hand=-NEAR, thumb=thumb, upper_arm=-UP)
    assert turned == pytest.approx(angle_deg)


def test_the_mean_is_of_each_cues_throws_and_a_rejected_one_is_left_out(served):
    running, session, clips = served

    def means():
        (one,) = groups(read_session(running.logbook, session).clips, CUES, compared())
        near = [clips.index(clip.sha256) + 1 for clip in one.nearest]
        return [hand.mean_deg["wrist_flexion_deg"] for hand in one.hands], near

    # Cues alternate: the first has throws 2, 4, 6, the second 1, 3, 5.
    assert means() == ([pytest.approx(40), pytest.approx(30)], [4, 3])
    reject(running, clips[5])
    assert means()[0] == [pytest.approx(30), pytest.approx(30)]


def test_the_page_draws_both_hands_with_the_difference_and_its_interval(served):
    running, session, clips = served
    asked = f"cue_a={CUES[0].replace(' ', '+')}&cue_b={CUES[1].replace(' ', '+')}"
    text = running.client.get(f"/s/{session}/compare?{asked}").text
    assert text.count("data-clip=") == 2
    assert f"/clip/{clips[3]}/release.jpg" in text
    drawing = running.client.get(f"/s/{session}/mean-hands.svg?{asked}&athlete=A1&pitch=slider")
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert "+4° (−2 to +10°)" in drawing.text
    assert drawing.text.count("difference: not known") == 2
    assert all(f"“{cue}”" in drawing.text for cue in CUES)
    elsewhere = f"/s/{session}/mean-hands.svg?{asked}&athlete=B2&pitch=slider"
    assert running.client.get(elsewhere).status_code == 404
