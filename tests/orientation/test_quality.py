"""What makes a throw's figures doubtful."""

import numpy as np
import pytest

from release.orientation.quality import Seen, flags

PLAIN = {
    "hand_px": 80.0,
    "travel_px": 10.0,
    "forearm_across": 0.9,
    "elbow_flexion_deg": 30.0,
    "two_solutions": False,
    "unfamiliarity": 0.5,
    "second_opinion_sds": np.nan,
    "lost_share": 0.0,
    "upper_arm_unseen_s": 0.0,
    "side_doubtful": False,
}


# Of 408 own rendered throws two were told 0.19 and 0.20 s early, with the hand at 4.9 and 7.9 m/s; one in a
# hundred moves at less than 10 m/s.
@pytest.mark.parametrize(("hand_m_s", "slow"), [(4.9, True), (7.9, True), (14.0, False), (29.0, False)])
def test_a_release_at_which_the_hand_is_slow_for_a_throw_is_to_be_looked_at(hand_m_s, slow):
    said = flags(Seen(**PLAIN, hand_m_s=hand_m_s))
    assert said == (("the hand is slow for a throw at what is taken for its release",) if slow else ())
