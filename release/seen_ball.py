"""The ball in the frames that were read closely: in the hand, among moving spots, and on its way.

In:   those frames, and what was read of the hand in them.
Out:  its places in its own radii, and those that tell when it left and how fast it flies.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from release.instant.flight import clear_of_arm, flights, followed, goes_on, on_path
from release.landmarks.flying_ball import box_round, moving_spots
from release.landmarks.result import HandReading
from release.landmarks.track import BALL
from release.landmarks.view import Held

Array = NDArray[np.float64]

HELD = 0.3  # probability from which on the ball's place in the hand is used
PLACED = 0.5  # radii: read with a smaller SD, the ball's place is surely it
FEWEST_FOLLOWED = 2  # frames without a break after release; with fewer, a straight path counts too
FLIGHT_SEEN = 2.3  # evidence (10 to 1) from which a flight is taken for the ball's
FLIGHT_NEAR = 3  # rows to both sides of release at which that flight may begin


@dataclass(frozen=True, slots=True, kw_only=True)
class BallSeen:
    """What is seen of the ball in k frames; lengths in its radii."""

    radius_px: float  # the median of those read; 1 where none was
    held: Array  # shape (k, 2), in the hand; NaN where it is not
    spots: list[Array]  # k of shape (n, 2): small, moving and clear of the arm
    area: float  # of the picture looked at for them
    # The frames in which it goes straight away from the hand, shape (m,), and where it is in those, (m, 2);
    # once its release is told, also those round it in which the ball is seen without a break.
    flown: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    flight: Array = field(default_factory=lambda: np.empty((0, 2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """The ball in its first frames of flight."""

    frame_index: NDArray[np.int64]  # shape (k,): the last in the hand, then those in flight
    centre_px: Array  # shape (k, 2), NaN in the hand
    radius_px: Array  # shape (k,), as seen in the hand; NaN in flight, where blur stretches it


def ball_seen(images: Sequence[Held], hand: HandReading) -> BallSeen:
    """The ball in the hand, and what it may be once it flies.

    Args:
        images: The k frames.
        hand: What was read of the hand in each.
    """
    if not np.isfinite(hand.ball_radius_px).any():
        unseen = np.full((len(images), 2), np.nan)
        return BallSeen(radius_px=1.0, held=unseen, spots=[np.empty((0, 2))] * len(images), area=1.0)
    radius_px, scale = float(np.nanmedian(hand.ball_radius_px)), images[0].scale
    hand_px = hand.points_px.reshape(-1, 2) * scale
    box = box_round(hand_px, radius_px * scale, *images[0].small.size)
    pictures = (picture.small.grey() for picture in images)
    spots = [
        clear_of_arm(spots / (radius_px * scale), points / radius_px)
        for spots, points in zip(moving_spots(pictures, radius_px * scale, box), hand.points_px, strict=True)
    ]
    in_hand = np.nan_to_num(hand.held_probability) > HELD
    return BallSeen(
        radius_px=radius_px,
        held=np.where(in_hand[:, None], hand.points_px[:, BALL] / radius_px, np.nan),
        spots=spots,
        area=(box[2] - box[0]) * (box[3] - box[1]) / (radius_px * scale) ** 2,
    )


def seen_leaving(ball: BallSeen, hand: HandReading, time_s: Array, release_frame: float) -> BallSeen:
    """The ball with all frames round its release in which it is seen without a break; as it was where it is
    not seen after that.

    Args:
        hand: What is believed of the hand in the same frames.
        time_s: Of all frames of the clip.
    """
    index = hand.frame_index
    row = int(np.searchsorted(index, release_frame))
    if row == len(index):
        return ball
    sd_px = np.sqrt(np.trace(hand.points_cov_px2[:, BALL], axis1=1, axis2=2) / 2)
    sure = sd_px < PLACED * ball.radius_px
    read = np.where(sure[:, None], hand.points_px[:, BALL] / ball.radius_px, np.nan)
    rows, flight = followed(time_s[index], read, ball.spots, row)
    flown = index[rows]
    if np.sum(rows >= row) < FEWEST_FOLLOWED:
        more = ~np.isin(ball.flown, flown)
        flown, flight = np.append(flown, ball.flown[more]), np.vstack([flight, ball.flight[more]])
    if not (flown >= release_frame).any():
        return ball
    in_order = np.argsort(flown)
    return replace(ball, flown=flown[in_order], flight=flight[in_order])


def flown_ball(
    ball: BallSeen, hand: HandReading, clocks_s: Sequence[Array], release_frame: float
) -> Flown | None:
    """The ball flying away from where it was released, by whichever clock shows it best; None where unseen.

    Args:
        hand: What was read of the hand in the same frames.
        clocks_s: The times of all frames of the clip by each clock that it may have.
    """
    index = hand.frame_index
    row = int(np.searchsorted(index, release_frame))
    near = slice(max(row - FLIGHT_NEAR, 0), row + FLIGHT_NEAR + 1)
    best, told = None, FLIGHT_SEEN
    for clock_s in clocks_s:
        time_s = clock_s[index]
        possible = flights(time_s, ball.held, ball.spots, ball.area)
        evidence, which = possible.by_gap(len(index))
        gap = near.start + int(np.argmax(evidence[near]))
        if evidence[gap] > told and goes_on(possible, int(which[gap]), time_s, ball.held):
            told, best = evidence[gap], on_path(possible, int(which[gap]), time_s, ball.spots)
    if best is None:
        return None
    rows, places = best
    held = np.flatnonzero(np.isfinite(ball.held[: rows[0], 0]))
    radius_px = float(np.nanmedian(hand.ball_radius_px[held[-FLIGHT_NEAR:]]))
    return Flown(
        frame_index=index[np.append(held[-1], rows)],
        centre_px=np.vstack([np.full((1, 2), np.nan), places * ball.radius_px]),
        radius_px=np.append(radius_px, np.full(len(rows), np.nan)),
    )
