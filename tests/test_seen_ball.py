"""Where the ball is seen round its release, by the hand's reader and by moving spots."""

from dataclasses import replace

import numpy as np
import pytest

from release.seen_ball import BallSeen, seen_leaving
from tests.landmarks.test_one_arm import FRAMES, RELEASE, TIME_S, hand

RADIUS_PX = 7.0
LAST_HELD = [16, 17, 18, 19]  # those of 20 ms before release


def read_surely_until(frame):
    """A hand whose ball moves on as it does: read to a pixel before that frame, to 0.6 radii from it on."""
    sd_px = np.where(np.arange(FRAMES) < frame, 1.0, 0.6 * RADIUS_PX)
    covariance = np.broadcast_to(sd_px[:, None, None, None] ** 2 * np.eye(2), (FRAMES, 12, 2, 2))
    return replace(hand(), points_cov_px2=covariance)


def ball(flown=()):
    return BallSeen(
        radius_px=RADIUS_PX,
        held=np.full((FRAMES, 2), np.nan),
        spots=[np.empty((0, 2))] * FRAMES,
        area=1e4,
        flown=np.array(flown, np.int64),
        flight=np.full((len(flown), 2), 50.0),
    )


def test_a_ball_is_seen_leaving_where_the_hands_reader_is_sure_of_it():
    seen = seen_leaving(ball(), read_surely_until(RELEASE + 3), TIME_S, RELEASE - 0.5)
    assert seen.flown.tolist() == [*LAST_HELD, 20, 21, 22]
    np.testing.assert_allclose(seen.flight * RADIUS_PX, hand().points_px[seen.flown, -1])


def test_a_ball_of_which_the_reader_is_unsure_after_release_is_not_seen_leaving():
    before = ball()
    assert seen_leaving(before, read_surely_until(RELEASE), TIME_S, RELEASE - 0.5) is before


@pytest.mark.parametrize(("read", "flown"), [(1, [20, 22, 23]), (2, [20, 21])])
def test_the_straight_path_of_spots_counts_only_where_the_ball_is_soon_lost(read, flown):
    seen = seen_leaving(ball(flown=(22, 23)), read_surely_until(RELEASE + read), TIME_S, RELEASE - 0.5)
    assert seen.flown.tolist() == [*LAST_HELD, *flown]
