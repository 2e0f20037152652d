"""What limits a throw's figures, in words; and what makes them doubtful.

In:   numbers seen round release.
Out:  sentences, worst first.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from release.landmarks.result import HandReading
from release.orientation.arm_fit import FittedArm
from release.orientation.chain import place
from release.orientation.window import ArmWindow

Array = NDArray[np.float64]

SMALL_HAND_PX = 45.0  # wrist to middle knuckle; below it errors grow as one over the size
FAST_SHARE = 0.5  # travel between frames, as a share of the hand, above which blur may matter
END_ON = 0.45  # sine of the angle between forearm and line of sight below which its turn is hard to see
UNSEEN_S = 0.02  # without the upper arm for so long its turn is bridged: the arm finder looks every 12 ms
STRANGE = 0.99  # among training pictures only one in a hundred is this unfamiliar
SLOW_HAND_M_S = 10.0  # a soft toss; common practice, no source
APART_SD = 3.0  # the second opinion differs by more than this many of its standard uncertainties


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was seen round release."""

    hand_px: float  # wrist to middle knuckle
    travel_px: float  # of the wrist between neighbouring frames
    forearm_across: float  # sine of the angle between forearm and line of sight
    elbow_flexion_deg: float
    two_solutions: bool
    unfamiliarity: float  # median of the frames next to release
    second_opinion_sds: float  # how far MediaPipe's palm differs, in standard uncertainties
    lost_share: float  # of the frames fitted, those in which the throwing hand was not read
    upper_arm_unseen_s: float  # from release to the nearest frame in which the upper arm was read
    side_doubtful: bool  # whether it is the other arm that throws
    hand_m_s: float  # speed of the ball's place in the hand at release


def seen_round_release(
    hand: HandReading, window: ArmWindow, arm: FittedArm, near: int, *, side_doubtful: bool
) -> Seen:
    """Gather them at the frame `near` release.

    Args:
        window: What was fitted, on the clock of `arm`.
        near: Row of the hand's readings nearest to release.
        side_doubtful: Whether it may be the other arm that throws.
    """
    close = slice(max(near - 2, 0), near + 3)
    posed = place(arm.pose, arm.body)
    sight = posed.points_m[0, 2] / np.linalg.norm(posed.points_m[0, 2])
    wrist = arm.posed_px[2]
    rows = [r for r in (near - 1, near + 1) if 0 <= r < len(hand.points_px)]
    steps = np.linalg.norm(hand.points_px[rows, 1] - hand.points_px[near, 1], axis=1)
    upper_arm_s = window.time_s[np.isfinite(window.upper_arm[:, 0])]
    difference = hand.second_opinion_deg[close] / hand.second_opinion_sd_deg[close]
    return Seen(
        hand_px=float(np.linalg.norm(arm.posed_px[4] - wrist)),
        travel_px=_median(steps),
        forearm_across=float(np.linalg.norm(np.cross(posed.forearm[0], sight))),
        elbow_flexion_deg=float(np.degrees(arm.pose.joints[0, 0])),
        two_solutions=arm.other is not None,
        unfamiliarity=_median(hand.unfamiliarity[close]),
        second_opinion_sds=_median(difference),
        lost_share=float(np.mean(~np.isfinite(window.palm[:, 0, 0]))),
        upper_arm_unseen_s=float(np.min(np.abs(upper_arm_s - arm.release_s), initial=np.inf)),
        side_doubtful=side_doubtful,
        hand_m_s=arm.speed_m_s,
    )


def median_point_sd_px(window: ArmWindow) -> float:
    """Median standard error of the hand's points, as the fit takes it."""
    variance = np.trace(window.points_cov_px2[:, 4:9], axis1=2, axis2=3) / 2
    return float(np.sqrt(np.nanmedian(variance)))


def limits(seen: Seen) -> tuple[str, ...]:
    """Reasons that limit the figures, worst first."""
    said: list[tuple[float, str]] = []
    if seen.hand_px < SMALL_HAND_PX:
        said.append(
            (SMALL_HAND_PX / seen.hand_px, f"the hand is small: {seen.hand_px:.0f} px to the knuckles")
        )
    if seen.travel_px > FAST_SHARE * seen.hand_px:
        text = f"the wrist travels {seen.travel_px:.0f} px a frame: so long is the blur at a full shutter"
        said.append((seen.travel_px / seen.hand_px, text))
    if seen.forearm_across < END_ON:
        said.append((2.0, "the view is along the forearm"))
    if seen.two_solutions:
        said.append((4.0, "two arms fit the pictures: the intervals hold both"))
    if seen.elbow_flexion_deg < 15:
        said.append((2.5, f"the elbow is nearly straight ({seen.elbow_flexion_deg:.0f} degrees)"))
    if seen.lost_share > 0.2:
        said.append((2.2, f"the hand was lost in {100 * seen.lost_share:.0f} % of the frames"))
    if seen.upper_arm_unseen_s > UNSEEN_S:
        said.append((3.0, "the upper arm is not seen round release, or the other arm is taken for it"))
    return tuple(text for _, text in sorted(said, key=lambda s: -s[0]))


def flags(seen: Seen) -> tuple[str, ...]:
    """Reasons to look at the frame before believing the figures."""
    said = []
    if seen.side_doubtful:
        said.append("it is not plain which arm throws")
    if seen.hand_m_s < SLOW_HAND_M_S:
        said.append("the hand is slow for a throw at what is taken for its release")
    if seen.two_solutions:
        said.append("two solutions")
    if seen.unfamiliarity > STRANGE:
        said.append("the picture is unlike those the hand model learned from")
    if seen.second_opinion_sds > APART_SD:
        said.append("the second hand model reads another palm")
    return tuple(said)


def _median(values: Array) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else float("nan")
