"""The ball in flight: told from other moving things, and when it left the hand."""

import numpy as np
import pytest

from release.instant.flight import RADIUS_M, Flights, clear_of_arm, flights, followed, goes_on, on_path

TIMES = np.arange(40) / 240
LEAVES_S = 20.4 / 240
PUSH = np.array([900.0, 700.0]) / RADIUS_M  # m/s^2, in radii: along the throw, and toward the arm's pivot
AREA = 74.0**2


def ball_at(time_s, speed_m_s=33.0, push=PUSH):
    """Pushed in the hand up to LEAVES_S, then straight on."""
    since = (time_s - LEAVES_S)[:, None]
    return np.array([speed_m_s, 0]) / RADIUS_M * since + push * np.minimum(since, 0) ** 2 / 2


def in_hand(path):
    return np.where((TIMES < LEAVES_S)[:, None], path, np.nan)


def scattered(rng, path, n=8):
    """The ball from three frames after it left, among spots that lie anywhere."""
    anywhere = rng.uniform(-37, 37, (len(path), n, 2))
    late = TIMES > LEAVES_S + 2.5 / 240
    return [
        np.vstack([spots, ball[None] + rng.normal(0, 0.15, 2)]) if flying else spots
        for spots, ball, flying in zip(anywhere, path, late, strict=True)
    ]


def test_a_ball_that_flies_away_is_found_among_spots_that_lie_anywhere():
    rng = np.random.default_rng(1)
    path = ball_at(TIMES)
    spots = scattered(rng, path)
    found = flights(TIMES, in_hand(path), spots, AREA)
    evidence, which = found.by_gap(len(TIMES))
    best = int(np.argmax(evidence))
    assert evidence[best] > 4
    assert 20 <= best <= 25
    rows, places = on_path(found, int(which[best]), TIMES, spots)
    assert len(rows) >= 5
    np.testing.assert_allclose(places, path[rows], atol=0.7)


def test_spots_that_lie_anywhere_are_hardly_ever_a_flight():
    said = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        path = ball_at(TIMES)
        spots = list(rng.uniform(-37, 37, (len(path), 8, 2)))
        said += flights(TIMES, in_hand(path), spots, AREA).by_gap(len(TIMES))[0].max() > 2.3
    assert said <= 2


@pytest.mark.parametrize(("speed_m_s", "told"), [(3.0, False), (6.0, False), (20.0, True), (70.0, False)])
def test_what_moves_as_slowly_as_a_body_or_faster_than_any_ball_is_no_flight(speed_m_s, told):
    path = ball_at(TIMES, speed_m_s)
    spots = [
        ball[None] if t > LEAVES_S + 0.005 else np.empty((0, 2)) for t, ball in zip(TIMES, path, strict=True)
    ]
    evidence, _ = flights(TIMES, in_hand(path), spots, AREA).by_gap(len(TIMES))
    assert (evidence.max() > 2.3) == told


def test_what_hardly_moves_across_the_picture_is_not_even_tried():
    path = ball_at(TIMES, 3.0)
    late = TIMES > LEAVES_S + 0.005
    spots = [ball[None] if seen else np.empty((0, 2)) for seen, ball in zip(late, path, strict=True)]
    assert not len(flights(TIMES, in_hand(path), spots, AREA).evidence)


def test_a_ball_that_passes_beside_the_hand_is_no_flight_from_it():
    path = ball_at(TIMES)
    late = TIMES > LEAVES_S + 0.005
    beside = path + np.array([0.0, 4.0])
    for seen, told in ((path, True), (beside, False)):
        spots = [ball[None] if flying else np.empty((0, 2)) for flying, ball in zip(late, seen, strict=True)]
        assert bool(len(flights(TIMES, in_hand(path), spots, AREA).evidence)) == told


def test_a_frame_in_which_the_ball_is_hidden_gives_no_place_on_its_path():
    path = ball_at(TIMES)
    late = TIMES > LEAVES_S + 0.005
    spots = [ball[None] if flying else np.empty((0, 2)) for flying, ball in zip(late, path, strict=True)]
    spots[24] = path[24][None] + 3.0
    found = flights(TIMES, in_hand(path), spots, AREA)
    rows, _ = on_path(found, int(np.argmax(found.evidence)), TIMES, spots)
    assert 24 not in rows
    assert {23, 25} <= set(rows.tolist())


def read_until(path, last_s):
    return np.where((last_s > TIMES)[:, None], path, np.nan)


def test_a_ball_read_in_the_hand_and_just_after_is_followed_among_spots_along_a_path_that_bends():
    rng = np.random.default_rng(2)
    since_s = np.maximum(TIMES - LEAVES_S, 0)[:, None]
    path = ball_at(TIMES) / (1 - 10 * since_s)  # it comes nearer: after 33 ms by a third
    ball = read_until(path, LEAVES_S + 2.5 / 240)
    rows, places = followed(TIMES, ball, scattered(rng, path), 21)
    assert rows.tolist() == list(range(17, 29))
    np.testing.assert_allclose(places, path[rows], atol=0.6)


@pytest.mark.parametrize("n_astray", [0, 1])
def test_a_ball_is_followed_no_further_than_it_is_seen_on_its_way(n_astray):
    path = ball_at(TIMES)
    ball = read_until(path, LEAVES_S + 3.5 / 240)
    ball[24 : 24 + n_astray] = path[24] + [0.0, 3.0]
    rows, _ = followed(TIMES, ball, [path[:1] + 30.0] * len(TIMES), 21)
    assert rows[-1] == 23


def test_a_ball_that_another_throws_past_the_hand_is_no_flight():
    path = ball_at(TIMES)
    other = path[20] - (path - path[20])  # the other way through the same place
    spots = [
        ball[None] if t > LEAVES_S + 0.005 else np.empty((0, 2)) for t, ball in zip(TIMES, other, strict=True)
    ]
    assert not len(flights(TIMES, in_hand(path), spots, AREA).evidence)


def test_spots_on_the_arm_are_left_out_and_without_an_arm_none_is():
    points = np.full((12, 2), np.nan)
    points[:6] = [[0, 0], [10, 0], [14, 1], [14, 0], [14, -0.5], [14, -1]]
    spots = np.array([[5.0, 0.5], [13.0, 0.2], [20.0, 0.0]])
    np.testing.assert_array_equal(clear_of_arm(spots, points), spots[2:])
    np.testing.assert_array_equal(clear_of_arm(spots, np.full((12, 2), np.nan)), spots)


def test_only_a_path_that_goes_on_as_the_hand_moved_the_ball_is_its_flight_on_any_clock():
    held = np.full((10, 2), np.nan)
    held[:6] = np.arange(6)[:, None] * [4.0, 0.0]
    speeds = np.array([[4.5, 0.5], [0.6, 0.0], [-4.0, 0.0]])  # on; something slow; the wrong way
    for frame_s in (1 / 240, 1 / 30):
        paths = Flights(
            held=np.full(3, 5),
            first=np.full(3, 6),
            start=np.zeros((3, 2)),
            velocity=speeds / frame_s,
            evidence=np.ones(3),
        )
        time_s = np.arange(10) * frame_s
        assert [goes_on(paths, n, time_s, held) for n in range(3)] == [True, False, False]
    held[:3] = np.nan
    assert not goes_on(paths, 0, time_s, held)
