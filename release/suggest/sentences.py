"""Advice in words, one line each, for the command line. It lists options and never orders."""

import numpy as np

from release.suggest.result import BALL_FIGURES, Advice, Option, Target, share_clauses

CARE = (
    "Options, not orders: the coach and the pitcher decide. This is not medical advice; pain ends the "
    "session; the league's pitch-count and rest rules come first; changes for a young or recovering arm "
    "belong with a licensed practitioner."
)
UNITS = {"speed_mph": "mph", "induced_vertical_break_in": "in", "horizontal_break_in": "in"}


def advice_lines(advice: Advice) -> list[str]:
    """Where the pitch stands, what could be tried next, and the cautions."""
    sessions = "session" if advice.sessions == 1 else "sessions"
    usual = f"“{advice.usual}”" if advice.usual else "nothing said"
    lines = [
        f"{advice.athlete}, {advice.pitch}: {advice.throws} throws in {advice.sessions} {sessions}; "
        f"as usual ({usual}): {advice.usual_throws}"
    ]
    lines.append(f"shape of the usual ball: {_shape(advice)}")
    lines += [f"grip changed: {'; '.join(advice.grip_changes)}"] if advice.grip_changes else []
    lines += _wanted(advice)
    lines += share_clauses(advice.own_shares, _plain, "%")
    if advice.suggestion is None:
        lines += [f"no options are ranked: {advice.why_not}", *advice.known]
    else:
        lines.append(advice.suggestion.why)
        lines += [f"{i}. {option_line(o)}" for i, o in enumerate(advice.suggestion.options, 1)]
    return [*lines, *advice.planning, CARE]


def option_line(option: Option) -> str:
    """One option with its chance, its evidence and the throws behind it."""
    trial = " (a trial)" if option.is_trial else ""
    mind = f"; mind: {'; '.join(option.warnings)}" if option.warnings else ""
    return (
        f"{option.cue}{trial}: {option.chance_inside:.0%} in the window, {option.chance_closer:.0%} closer "
        f"than usual; {option.evidence}{mind}"
    )


def target_words(target: Target) -> str:
    """The window in words."""
    return ", ".join(
        f"{_plain(name)} {centre:.1f} ± {give:.1f} {UNITS[name]}"
        for name, centre, give in zip(BALL_FIGURES, target.centre, target.tolerance, strict=True)
        if np.isfinite(centre)
    )


def _shape(advice: Advice) -> str:
    if np.isnan(advice.mph_below_fastball):
        return "no word for it without a measured fastball to go by"
    word = " or ".join(advice.shape) or "no word of the list fits it"
    return f"{word} ({advice.mph_below_fastball:.1f} mph below the fastball)"


def _wanted(advice: Advice) -> list[str]:
    if advice.target is None:
        return []
    lines = [f"wanted: {target_words(advice.target)}"]
    if np.isfinite(advice.usual_distance):
        lines.append(
            f"the usual throw is {advice.usual_distance:.1f} tolerances away; {advice.inside} of "
            f"{advice.measured} throws were inside"
        )
    slope, low, high = advice.trend
    if np.isfinite(slope):
        way = "closer" if high < 0 else "further away" if low > 0 else "no clear trend"
        lines.append(
            f"from throw to throw: {way} ({slope:+.2f} [{low:+.2f} to {high:+.2f}] tolerances a throw)"
        )
    return lines


def _plain(figure: str) -> str:
    return figure.rsplit("_", 1)[0].replace("_", " ")
