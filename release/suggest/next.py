"""Which way the hand must turn for the wanted ball, and what could be tried next, best first.

The chances come from draws of everything that is uncertain: what the cue does to this pitcher's hand, how
the ball follows the hand, and the scatter of throws. The draws are seeded: same record, same list.
"""

import numpy as np
from numpy.typing import NDArray

from release.suggest.result import BALL_FIGURES, BallResponse, CueResponses, Option, Suggestion, Target
from release.suggest.target import distance

DRAWS = 4000
MORE_SUPINATION = "asks for more supination: build up slowly, stop at any pain"
ALIKE = 0.02  # chances this close are equal; of two such options the one that teaches more comes first


def suggest(
    responses: CueResponses,
    ball: BallResponse,
    target: Target,
    *,
    worth_deg: float = 5.0,
    throws_left: int | None = None,
    by_hand: CueResponses | None = None,
    seed: int = 0,
) -> Suggestion:
    """List what could be tried next.

    Args:
        responses: What each cue does to this pitcher's hand.
        ball: How the ball follows it.
        target: The wanted ball.
        worth_deg: The smallest turn worth having; a cue known less well than that is a trial.
        throws_left: Throws left in today's plan, None where there is none.
        by_hand: What each cue does by the hand's own measurement, where `responses` also rest on the balls;
            the options tell this one. None: `responses`.
        seed: Of the draws.
    """
    turn, turn_sd = needed_turn_deg(ball, target)
    chances = [_chances(responses, ball, target, i, seed) for i in range(len(responses.cues))]
    known = bool(np.isfinite(turn))
    options = [
        _option(by_hand or responses, i, inside, closer, worth_deg, throws_left, known)
        for i, (inside, closer) in enumerate(chances)
    ]
    return Suggestion(
        needed_turn_deg=turn,
        needed_turn_sd_deg=turn_sd,
        why=_why(turn, turn_sd, ball, target),
        options=tuple(sorted(options, key=_rank)),
    )


def needed_turn_deg(ball: BallResponse, target: Target) -> tuple[float, float]:
    """The turn of the hand that brings the usual ball nearest to the target's centre, and its SD.

    Least squares over the wished figures in units of their tolerances; the SD carries how well the ball's
    slopes are known. NaN where no slope differs from 0.
    """
    wished = np.isfinite(target.centre)
    slope = ball.per_deg[wished] / target.tolerance[wished]
    gap = (target.centre - ball.at_uncued)[wished] / target.tolerance[wished]
    size = float(slope @ slope)
    if size == 0 or not np.isfinite(gap).all():
        return float("nan"), float("nan")
    turn = float(slope @ gap) / size
    # d turn / d slope_i = (gap_i - 2 turn slope_i) / size, first order.
    gradient = (gap - 2 * turn * slope) / size
    return turn, float(np.linalg.norm(gradient * ball.per_deg_sd[wished] / target.tolerance[wished]))


def _chances(
    responses: CueResponses, ball: BallResponse, target: Target, i: int, seed: int
) -> tuple[float, float]:
    rng = np.random.default_rng(seed)  # the same draws for every cue, so that their order is not luck
    sd = np.hypot(np.sqrt(responses.cov_deg2[i, i]), responses.throw_sd_deg)
    turn = responses.mean_deg[i] + sd * rng.standard_normal(DRAWS)
    usual = responses.throw_sd_deg * rng.standard_normal(DRAWS)
    slopes = ball.per_deg + ball.per_deg_sd * rng.standard_normal((DRAWS, 3))
    scatter = ball.scatter_sd * rng.standard_normal((2, DRAWS, 3))
    new = distance(ball.at_uncued + slopes * turn[:, None] + scatter[0], target)
    old = distance(ball.at_uncued + slopes * usual[:, None] + scatter[1], target)
    return float(np.mean(new <= 1)), float(np.mean(new < old))


def _option(
    responses: CueResponses,
    i: int,
    inside: float,
    closer: float,
    worth_deg: float,
    throws_left: int | None,
    ball_known: bool,
) -> Option:
    turn, sd = float(responses.mean_deg[i]), float(np.sqrt(responses.cov_deg2[i, i]))
    own, others = int(responses.throws[i]), responses.others
    is_trial = sd > worth_deg or not ball_known
    return Option(
        cue=responses.cues[i],
        turn_deg=turn,
        turn_sd_deg=sd,
        chance_inside=inside,
        chance_closer=closer,
        throws_own=own,
        throws_others=int(others.throws[i]),
        pitchers_others=int(others.pitchers[i]),
        is_trial=is_trial,
        evidence=evidence(turn, sd, own, int(others.throws[i]), int(others.pitchers[i])),
        warnings=warnings(turn, worth_deg, throws_left),
    )


def evidence(turn_deg: float, sd_deg: float, own: int, others: int, pitchers: int) -> str:
    """One line: what the cue is expected to do to the hand, and on how many throws that rests."""
    way = "supination" if turn_deg < 0 else "pronation"
    if own == 0 and others == 0:
        return "nothing is known of it yet: a trial"
    rests = f"{_throws(own)} by this pitcher" if own else "no throw by this pitcher"
    who = "one other pitcher" if pitchers == 1 else f"{pitchers} other pitchers"
    beside = f" and {_throws(others)} by {who}" if others else ""
    return f"turns the hand {abs(turn_deg):.0f} ± {1.96 * sd_deg:.0f}° toward {way}; from {rests}{beside}"


def _throws(number: int) -> str:
    return "1 throw" if number == 1 else f"{number} throws"


def warnings(turn_deg: float, worth_deg: float, throws_left: int | None) -> tuple[str, ...]:
    """What to mind before trying it."""
    found = []
    if turn_deg <= -worth_deg:
        found.append(MORE_SUPINATION)
    if throws_left is not None and throws_left <= 0:
        found.append("asks for more throws than today's plan holds")
    return tuple(found)


def _rank(option: Option) -> tuple[float, float, str]:
    step = round(option.chance_inside / ALIKE)
    return (-step, -option.turn_sd_deg, option.cue)


def _why(turn: float, sd: float, ball: BallResponse, target: Target) -> str:
    if not np.isfinite(turn):
        return "this pitcher's ball is not known to follow the hand yet; each option is a trial"
    way = "supination" if turn < 0 else "pronation"
    wished = [name for name, want in zip(BALL_FIGURES, target.centre, strict=True) if np.isfinite(want)]
    gaps: NDArray[np.float64] = (target.centre - ball.at_uncued)[np.isfinite(target.centre)]
    parts = [_gap(name, gap) for name, gap in zip(wished, gaps, strict=True)]
    return (
        f"the wanted ball is {' and '.join(parts)} from the usual one; the hand would have to turn about "
        f"{abs(turn):.0f} ± {1.96 * sd:.0f}° toward {way}"
    )


def _gap(name: str, gap: float) -> str:
    figure, unit = name.rsplit("_", 1)
    return f"{gap:+.1f} {unit} of {figure.replace('_', ' ')}"
