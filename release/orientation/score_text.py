"""Scores and figures as lines of text for the terminal."""

import numpy as np

from release.orientation.result import FIELD_LENGTHS, JOINT_ANGLES, Estimate, Orientation
from release.orientation.score import Accuracy


def score_lines(scores: Accuracy) -> list[str]:
    """The table of `release accuracy`."""
    release = scores.release
    answered = release.n - release.refused
    lines = [
        f"Release: {answered} of {release.n} clips answered; error {_n(release.median, 2)} frames median, "
        f"{_n(release.p90, 2)} at 90 %; within 1 frame {_share(release.within(1))}, within 2 "
        f"{_share(release.within(2))} of all; 95 % intervals hold {_share(release.covered)}.",
        f"No throw, or no release in view: {scores.refused_rightly} of {scores.without_release} refused.",
        "",
        f"{'degrees':18s}{'median':>8s}{'90 %':>8s}{'bias':>8s}{'repeat':>8s}{'constant':>10s}{'slope':>7s}"
        f"{'covered':>9s}{'width':>8s}{'answered':>10s}{'excused':>9s}{'missed':>8s}",
    ]
    for a in scores.angles:
        lines.append(
            f"{a.name:18s}{_n(a.median):>8s}{_n(a.p90):>8s}{_n(a.bias):>8s}{_n(a.repeatability_deg):>8s}"
            f"{_n(a.constant_deg):>10s}"
            f"{_n(a.slope, 2):>7s}{_share(a.covered):>9s}{_n(a.width_deg):>8s}"
            f"{a.n - a.excused - a.unexcused:>10d}{a.excused:>9d}{a.unexcused:>8d}"
        )
    return [
        *lines,
        "",
        "repeat: SD of the errors of one athlete before one camera, what differences between throws carry.",
        "constant: median error of the best single answer for the whole set. excused: refused where the view",
        "cannot carry the angle (bound over 15 degrees at 2 px). missed: refused where it could.",
    ]


def figure_lines(orientation: Orientation) -> list[str]:
    """The joint angles and what else was measured, one a line; what else was not, one line a reason."""
    lines, refused = [], dict[str, list[str]]()
    for name, figure in orientation.figures.items():
        if figure.value is not None or name in JOINT_ANGLES:
            lines.append(f"  {name:18s}{_figure(figure, name in FIELD_LENGTHS)}")
        else:
            refused.setdefault(figure.refused or "not measured", []).append(name.replace("_", " "))
    lines += [f"  no {', '.join(names)}: {why}" for why, names in refused.items()]
    lines += [f"  limited: {text}" for text in orientation.limits]
    return lines + [f"  look at the frame: {text}" for text in orientation.flagged]


def _figure(figure: Estimate, is_length: bool) -> str:
    if figure.value is None or figure.low is None or figure.high is None:
        return figure.refused or ""
    if is_length:
        return f"{figure.value:7.2f}   95 %: {figure.low:.2f} to {figure.high:.2f} m"
    return f"{figure.value:7.1f}   95 %: {figure.low:.1f} to {figure.high:.1f}"


def _n(value: float, digits: int = 1) -> str:
    return "-" if np.isnan(value) else f"{value:.{digits}f}"


def _share(value: float) -> str:
    return "-" if np.isnan(value) else f"{100 * value:.0f} %"
