"""Clips' clocks held against the flight unit: the ball's speed as seen, clip by clip, in sentences."""

from collections.abc import Collection, Mapping
from typing import Any

import pandas as pd

from release.camera.ball_speed import MPH_M_S, BallSpeed, ClockCheck, check_clock
from release.clip.result import TimeBase


def clock_checks(table: pd.DataFrame, bases: Mapping[str, Mapping[str, Any]]) -> dict[str, ClockCheck]:
    """What the flight unit says of each clip's clock.

    Args:
        table: A row a throw: `clip` and, where a ball is linked to it, its `speed_mph` at release.
        bases: By clip, the fields of its TimeBase.

    Returns:
        By clip; only those in which the ball is seen in flight by a known camera.
    """
    found = {}
    speeds = table[["clip", "speed_mph"]].dropna() if "speed_mph" in table else table.iloc[:0]
    for clip, speed_mph in zip(speeds["clip"], speeds.get("speed_mph", ()), strict=True):
        base = bases.get(clip) or {}
        if base.get("ball_m_s"):
            seen = BallSpeed(m_s=base["ball_m_s"], sd_m_s=base["ball_sd_m_s"])
            found[str(clip)] = check_clock(seen, float(speed_mph), base["slowdown"])
    return found


def clock_sentences(
    checks: Mapping[str, ClockCheck], names: Mapping[str, str], filled: Collection[str] = ()
) -> list[str]:
    """A line on the clips whose clock is confirmed, one on those filled in by it, and one on each other."""
    agreeing = [clip for clip, check in checks.items() if check.verdict == "agrees"]
    good = [clip for clip in agreeing if clip not in filled]
    lines = [
        f"Clocks: in {names[clip]} the ball told the clip's clock, which was unknown: {checks[clip].why}."
        for clip in agreeing
        if clip in filled
    ]
    if good:
        of = f"{len(good)} of {len(checks)} clips in which it is seen to fly"
        lines.append(f"Clocks: the ball's speed in {of} agrees with the flight unit's.")
    said = {"contradicts": "contradicts the clip's clock", "fills": "tells the clip's clock"}
    for clip, check in checks.items():
        if check.verdict != "agrees":
            verdict = said.get(check.verdict, "does not tell the clip's clock")
            lines.append(f"Clocks: in {names[clip]} the ball {verdict}: {check.why}.")
    return lines


def ball_line(base: TimeBase) -> list[str]:
    """The ball's speed as a clip plays, for the terminal; nothing where it is not told."""
    if base.ball_m_s is None or base.ball_sd_m_s is None:
        return []
    mph, sd = base.ball_m_s / MPH_M_S, base.ball_sd_m_s / MPH_M_S
    return [f"  ball in flight    {mph:7.1f}   sd {sd:.1f} mph, as the clip plays"]
