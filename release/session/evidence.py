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
CLIP_SPEED_SD_MPH = 4.0
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


def speed_log_ratio(a: Rows, b: Rows, i: I, j: I, chance: F) -> dict[str, F]:
    """Log ratio of measured speed against the pitch written down, and against a clip's own estimate.

    Args:
        a: One list.
        b: The other.
        i: Rows of a of each pair.
        j: Rows of b of each pair.
        chance: How likely each pair is so far; the usual speed of each pitch is learnt from them.
    """
    found = {}
    for worded, measured, w, m in ((a, b, i, j), (b, a, j, i)):
        if (worded.pitch != "").any() and np.isfinite(measured.speed_mph).sum() > 4:
            ratio = _pitch_against_speed(worded, measured.speed_mph, w, m, chance)
            found["speed for the pitch"] = found.get("speed for the pitch", 0.0) + ratio
    for seen, measured, s, m in ((a, b, i, j), (b, a, j, i)):
        estimate, speed = seen.clip_speed_mph[s], measured.speed_mph[m]
        both = np.isfinite(estimate) & np.isfinite(speed)
        if both.sum() > 4:
            ratio = _estimate_against_speed(estimate, speed, both, chance)
            found["speed seen in the clip"] = found.get("speed seen in the clip", 0.0) + ratio
    return {name: np.asarray(ratio).clip(LEAST, MOST) for name, ratio in found.items()}


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


def _estimate_against_speed(estimate: F, speed: F, both: NDArray[np.bool_], chance: F) -> F:
    apart = np.where(both, estimate - speed, 0.0)
    weight = np.where(both, chance, 0.0)
    bias = np.sum(weight * apart) / (weight.sum() + PRIOR_WEIGHT)
    spread = max(float(np.std(apart[both])), CLIP_SPEED_SD_MPH)
    ratio = norm.logpdf(apart, bias, CLIP_SPEED_SD_MPH) - norm.logpdf(apart, np.mean(apart[both]), spread)
    return np.where(both, ratio, 0.0)
