"""What else than time speaks for a pair of rows: athlete, throwing hand, pitch, speed. Log likelihood ratios.

Each is the chance of seeing both entries if they are one throw over that if they are two.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from release.session.rows import Rows

# How often one throw is written down wrongly in one of two lists. Common practice, no source.
WRONG = {"athlete": 0.002, "throws": 0.005, "pitch": 0.15}
# Speed of a pitch as a share of the pitcher's fastest. Common practice, no source.
SHARE_OF_FASTEST = {
    "four-seam": 0.98,
    "sinker": 0.97,
    "cutter": 0.94,
    "slider": 0.89,
    "sweeper": 0.87,
    "slurve": 0.85,
    "curveball": 0.82,
    "changeup": 0.88,
    "splitter": 0.90,
}
WITHIN_PITCH_SD_MPH = 1.5  # common practice, no source
PRIOR_SD_MPH = 4.0  # of a pitch's usual speed before any is measured
PRIOR_WEIGHT = 2.0
CAMERA_SD = 0.1  # of the logarithm of the factor by which a camera sees every ball too fast or slow (assumed)
ASTRAY = 0.05  # of speeds seen in clips that say nothing of the ball: something else was followed (assumed)
OTHER_RATE = 1.6  # a clip this many times off the usual speed plays at another rate than is thought
LEAST_SPREAD = 0.02  # of the logarithm of a session's speeds
SPEED_SEEN, SEEN_OFF = "speed seen in the clip", "seen_off_mph"
LEAST, MOST = -7.0, 4.0  # no single entry may say more

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741


def words_log_ratio(a: Rows, b: Rows, i: I, j: I) -> dict[str, F]:
    """Log ratio of each worded entry, shape (pairs,); 0 where either list does not say."""
    found = {}
    for name, wrong in WRONG.items():
        left, right = getattr(a, name), getattr(b, name)
        words, share = np.unique(np.concatenate([left[left != ""], right[right != ""]]), return_counts=True)
        if not set(left[left != ""]) & set(right[right != ""]):
            continue  # they name things differently, or one says nothing
        share = share / share.sum()
        common = share[np.searchsorted(words, left).clip(0, len(words) - 1)]
        any_other = 1 - np.sum(share**2)
        same = np.log((1 - wrong) / np.maximum(common[i], 1e-6))
        differ = np.log(wrong / max(any_other, wrong))
        both = (left[i] != "") & (right[j] != "")
        found[name] = np.where(both, np.where(left[i] == right[j], same, differ), 0.0).clip(LEAST, MOST)
    return found


def speed_log_ratio(a: Rows, b: Rows, i: I, j: I, chance: F) -> tuple[dict[str, F], dict[str, F]]:
    """Log ratio of measured speed against the pitch written down, and against a clip's own estimate.

    Args:
        a: One list.
        b: The other.
        i: Rows of a of each pair.
        j: Rows of b of each pair.
        chance: How likely each pair is so far; the usual speed of each pitch, and by how much a camera
            sees every ball too fast or too slow, are learnt from them.

    Returns:
        The log ratios, and for a person `SEEN_OFF`: the clip's estimate, put right for its camera, less the
        measured speed in mph, NaN where either is unknown.
    """
    found, told = {}, {}
    for worded, measured, w, m in ((a, b, i, j), (b, a, j, i)):
        if (worded.pitch != "").any() and np.isfinite(measured.speed_mph).sum() > 4:
            ratio = _pitch_against_speed(worded, measured.speed_mph, w, m, chance)
            found["speed for the pitch"] = found.get("speed for the pitch", 0.0) + ratio
    for seen, measured, s, m in ((a, b, i, j), (b, a, j, i)):
        if np.isfinite(seen.clip_speed_mph).any() and (measured.speed_mph > 0).sum() > 4:
            ratio, off_mph = _seen_against_speed(seen, measured.speed_mph, s, m, chance)
            found[SPEED_SEEN] = found.get(SPEED_SEEN, 0.0) + ratio
            told[SEEN_OFF] = np.where(np.isfinite(off_mph), off_mph, told.get(SEEN_OFF, np.nan))
    return {name: np.asarray(ratio).clip(LEAST, MOST) for name, ratio in found.items()}, told


def _pitch_against_speed(worded: Rows, speed: F, w: I, m: I, chance: F) -> F:
    who = np.char.add(np.char.add(worded.athlete, "|"), worded.pitch)
    groups, group = np.unique(who, return_inverse=True)
    known = np.isfinite(speed[m]) & (worded.pitch[w] != "")
    value = np.where(known, np.nan_to_num(speed[m]), 0.0)
    weight = np.where(known, chance, 0.0)
    mean_all, sd_all = np.nanmean(speed), max(float(np.nanstd(speed)), WITHIN_PITCH_SD_MPH)
    pitches = [name.split("|")[1] for name in groups]
    shares = np.array([SHARE_OF_FASTEST.get(pitch, np.nan) for pitch in pitches])
    start = np.where(np.isfinite(shares), shares * np.nanpercentile(speed, 95) / 0.98, mean_all)
    start_sd = PRIOR_SD_MPH if len(set(worded.athlete)) == 1 else 1.5 * PRIOR_SD_MPH
    g = group[w]
    total = np.bincount(g, weight, len(groups))[g] - weight  # the pair itself says nothing about itself
    summed = np.bincount(g, weight * value, len(groups))[g] - weight * value
    mean = (summed + PRIOR_WEIGHT * start[g]) / (total + PRIOR_WEIGHT)
    sd = np.hypot(WITHIN_PITCH_SD_MPH, start_sd * PRIOR_WEIGHT / (total + PRIOR_WEIGHT))
    # A share of throws is labelled wrongly, and then any speed will do.
    as_any = norm.pdf(value, mean_all, sd_all)
    as_pitch = (1 - WRONG["pitch"] / 3) * norm.pdf(value, mean, sd) + WRONG["pitch"] / 3 * as_any
    return np.where(known, np.log(as_pitch / np.maximum(as_any, 1e-12)), 0.0)


def _seen_against_speed(seen: Rows, measured_mph: F, s: I, m: I, chance: F) -> tuple[F, F]:
    """Log ratio of clips' own speeds against those measured, and by how many mph they differ.

    Logarithms throughout: a camera errs by a factor, and the uncertainty of a speed seen grows with it.
    """
    speed = np.log(np.where(measured_mph > 0, measured_mph, np.nan))
    speed[np.abs(speed - np.nanmedian(speed)) > np.log(OTHER_RATE)] = np.nan
    usual, spread = float(np.nanmean(speed)), max(float(np.nanstd(speed)), LEAST_SPREAD)
    estimate, own = np.log(seen.clip_speed_mph), (seen.clip_speed_sd_mph / seen.clip_speed_mph) ** 2
    estimate[np.abs(estimate - usual) > np.log(OTHER_RATE)] = np.nan  # slowed by an unknown rate
    apart = estimate[s] - speed[m]
    factor, factor_sd = _camera_factor(seen.seen_by, s, estimate - usual, own, spread, apart, chance)
    sd = np.hypot(np.sqrt(own[s]), factor_sd[s])
    as_any = norm.pdf(estimate[s], usual + factor[s], np.hypot(sd, spread))
    as_one = (1 - ASTRAY) * norm.pdf(apart, factor[s], sd) + ASTRAY * as_any
    ratio = np.log(as_one / np.maximum(as_any, 1e-300))
    return np.nan_to_num(ratio), np.exp(estimate[s] - factor[s]) - measured_mph[m]


def _camera_factor(
    seen_by: NDArray[np.str_], s: I, usual_apart: F, own: F, spread: float, apart: F, chance: F
) -> tuple[F, F]:
    """Logarithm of the factor by which each clip's camera sees balls too fast, told by its other clips.

    Beforehand no more is known of it than CAMERA_SD. A clip that is paired tells it to its own uncertainty;
    so far as it is not, it still tells it by what is usual.

    Args:
        seen_by: Camera of each clip, shape (n,).
        s: Clip of each pair, shape (pairs,).
        usual_apart: Of each clip, from the usual speed; NaN where it tells nothing.
        own: Variance of each clip's estimate.
        spread: Standard deviation of the speeds measured.
        apart: Of each pair; NaN where either is unknown.
        chance: Of each pair, so far.

    Returns:
        The factor and its standard uncertainty, shape (n,).
    """
    cameras, camera = np.unique(seen_by, return_inverse=True)
    paired = np.where(np.isfinite(apart), chance, 0.0)
    rest = 1 - np.bincount(s, paired, len(own)).clip(0, 1)
    rest_weight = np.nan_to_num(np.where(np.isfinite(usual_apart), rest / (own + spread**2), 0.0))
    weight = np.nan_to_num(paired / own[s])
    total = np.bincount(s, weight, len(own)) + rest_weight
    summed = np.bincount(s, weight * np.nan_to_num(apart), len(own)) + rest_weight * np.nan_to_num(
        usual_apart
    )
    # A clip says nothing about itself.
    precision = np.bincount(camera, total, len(cameras))[camera] - total + 1 / CAMERA_SD**2
    return (np.bincount(camera, summed, len(cameras))[camera] - summed) / precision, 1 / np.sqrt(precision)
