"""The answers in words, one line each, for the command line."""

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from release.errors import ReleaseError
from release.stats.live_table import LiveSession
from release.stats.mediation import ASSUMPTION, path_through_hand
from release.stats.own_error import own_sd
from release.stats.plan import PlannedSession, power, throws_needed
from release.stats.result import Comparison, LiveStep, Noise, Path, Pooled, Relation, more_throws_words

EFFECTS = (5.0, 8.0, 12.0)

LINES = 60  # more would scroll past; the CSV holds them all

UNITS = {"_deg": "°", "_mph": " mph", "_in": " in", "_rpm": " rpm", "_ft": " ft", "_m": " m"}


class NotANumberByName(ReleaseError):
    """An option that should read NAME=NUMBER does not."""

    def __init__(self, text: str) -> None:
        super().__init__(f"write FIGURE=NUMBER, as in palm_turn_deg=4, not {text!r}")


def numbers_by_name(options: Sequence[str]) -> dict[str, float]:
    """`["palm_turn_deg=4"]` to `{"palm_turn_deg": 4.0}`.

    Raises:
        NotANumberByName: An option does not read so.
    """
    found = {}
    for text in options:
        name, _, number = text.partition("=")
        try:
            found[name.strip()] = float(number)
        except ValueError:
            raise NotANumberByName(text) from None
    return found


def comparison_lines(found: Sequence[Comparison], notes: Mapping[str, str]) -> list[str]:
    """What was found, a line a comparison, main outcomes first, and how the tests were controlled."""
    cued = sorted((one for one in found if one.cue_b), key=lambda one: not one.main)
    lines = [_line(one) for one in cued[:LINES]]
    if len(cued) > LINES:
        counts = Counter(one.answer for one in found)
        lines.append("... " + ", ".join(f"{n} {answer}" for answer, n in counts.most_common()))
    lines += dict.fromkeys(
        f"{one.athlete} {one.pitch}: {one.answer} ({one.why})" for one in found if not one.cue_b
    )
    lines += [f"{name}: {note}" for name, note in notes.items()]
    mains = dict.fromkeys(one.figure for one in found if one.main)
    if mains and len({one.figure for one in found}) > 1:
        lines.append(
            f"main outcome, tested at 0.05: {', '.join(mains)}; false discoveries controlled over the rest"
        )
    lines += dict.fromkeys(one.why for one in cued[:LINES] if one.why)
    return lines


def _line(one: Comparison) -> str:
    where = f"{one.athlete} {one.pitch}, {one.figure}"
    if one.difference is None:
        return f"{where}: {one.answer} ({one.why})"
    unit = next((word for end, word in UNITS.items() if one.figure.endswith(end)), "")
    digits = 1 if unit.strip() in ("°", "mph", "in", "rpm") else 2
    ends = [f"{end:+.{digits}f}" if end is not None else "no end" for end in (one.low, one.high)]
    test = f", p {one.p:.3f}" if one.p is not None else ""
    test += f", q {one.q:.3f}" if one.q is not None and not one.main and one.q != one.p else ""
    more = f", {more_throws_words(one.more_throws)}" if one.more_throws else ""
    worth = f"; worth having {one.worth:g}{unit}" if one.worth is not None else ""
    if one.detectable is not None:
        worth += f", detectable {one.detectable:.1f}{unit}"
        if one.worth is not None and one.detectable > one.worth:
            worth += ": the session is too coarse for the question"
    if one.answer == "no meaningful change":
        test += f", 90 % interval {one.low90:+.{digits}f} to {one.high90:+.{digits}f}"
    return (
        f"{where}, {one.cue_b} against {one.cue_a}: {one.answer}{more}. "
        f"{one.difference:+.{digits}f}{unit} [{ends[0]} to {ends[1]}]{test}, "
        f"{one.n_a} and {one.n_b} throws{worth}"
    )


def plan_lines(planned: PlannedSession, throw_sd: float, noise: Mapping[str, Noise]) -> list[str]:
    """What a drawn plan can show, by simulation.

    Args:
        planned: The plan.
        throw_sd: Where earlier sessions tell none.
        noise: How each athlete and pitch scatters, by what they are called, in the order of the plan.
    """
    plan = planned.plan
    each, throws = len(planned.alone.order), len(planned.unit_of_throw) // len(noise)
    lines = [
        f"{who}: {each} {plan.unit}s, {throws} throws: {', '.join(plan.order[i * each : (i + 1) * each])}"
        for i, who in enumerate(noise)
    ]
    lines.append(f"{planned.possible} orders could have been drawn; the best p is {planned.best_p:.2g}")
    if planned.best_p > 0.05:
        longer = " or allow longer runs" if plan.longest_run else ""
        small = "design too small: it cannot reach p < 0.05, whatever is thrown. Plan 8 or more blocks"
        return [*lines, f"{small}{longer}"]
    for who, one in noise.items() if len(set(noise.values())) > 1 else [("", next(iter(noise.values())))]:
        lines += [f"{who}: {line}" if who else line for line in _power_lines(planned, throw_sd, one)]
    return [*lines, "Pain ends the session; the league's pitch-count and rest rules come before any plan."]


def _power_lines(planned: PlannedSession, throw_sd: float, noise: Noise) -> list[str]:
    sd, plan = noise.throw_sd or throw_sd, planned.plan
    basis = f"{noise.sessions} earlier sessions" if noise.sessions else "the usual scatter"
    lines = [
        f"a change of {one.effect:g} is found in {one.found:.0%} of simulated sessions"
        for one in power(planned, EFFECTS, sd, noise)
    ]
    if plan.longest_run is None:
        needed = throws_needed(plan.cues[:2], EFFECTS, sd, noise, unit=plan.unit)
        words = [f"{effect:g}: {n or 'more than 64'}" for effect, n in needed.items()]
        lines.append(f"throws to find a change 80 % of the time: {', '.join(words)}")
    return [*lines, f"throw-to-throw SD {sd:.1f}, from {basis}, with drift, carry-over and wild throws"]


def live_lines(session: LiveSession) -> list[str]:
    """What was known after each pair, what stands after half a pair, and the next cue."""
    first, second = session.cues
    lines = [f"{session.figure}, {second} against {first}, drawn with seed {session.seed}"]
    lines += [f"{step.throws:3d} throws: {_live_step(step)}" for step in session.steps]
    if session.thrown % 2:
        known = _live_step(session.steps[-1]) if session.steps else "nothing is known before a whole pair"
        lines.append(f"throw {session.thrown} is half a pair; known so far: {known}")
    if session.not_drawn:
        means = f": {second} less {first} {session.described:+.1f}" if session.described is not None else ""
        lines.append(
            f"{session.not_drawn} pairs were not thrown as drawn; described, never called changed{means}"
        )
    return [*lines, f"next, throw {session.thrown + 1}: {session.next_cue}"]


def _live_step(step: LiveStep) -> str:
    ends = [f"{v:+.1f}" if abs(v) < 1e6 else "open" for v in (step.low, step.high)]
    return (
        f"{step.estimate:+.1f} [{ends[0]} to {ends[1]}], {step.answer}"
        f" (evidence {step.evidence:.3g}, settled at 20)"
    )


def relation_lines(found: Sequence[Relation], rows: pd.DataFrame) -> list[str]:
    """Relations in words; within and between athletes apart."""
    lines = []
    for one in found:
        where = f"{one.pitch}, {one.ball} against {one.hand}, {one.throws} throws of {one.athletes} athletes"
        if one.r is None:
            lines.append(f"{where}: {one.why}")
            continue
        lines.append(f"{where}: within athletes r {one.r:+.2f} [{one.r_low:+.2f} to {one.r_high:+.2f}]")
        if one.within:
            s = one.within
            lines.append(
                f"  {s.slope:+.3f} per unit [{s.low:+.3f} to {s.high:+.3f}], noise in the angle accounted for"
                f" ({s.plain:+.3f} without; reliability {s.reliability:.2f})"
            )
        if one.between_r is not None:
            lines.append(
                f"  between athletes, another question: r {one.between_r:+.2f}, p {one.between_p:.3f}"
            )
        lines += [f"  {one.why}"] if one.why else []
        lines += _paths(rows[rows["pitch"] == one.pitch], one)
    return lines


def _paths(rows: pd.DataFrame, one: Relation) -> list[str]:
    """The path through the hand for each athlete with two cues, few athletes only."""
    lines: list[str] = []
    known = [cue for cue in dict.fromkeys(rows["cue"]) if cue]
    for athlete, part in rows.groupby("athlete", sort=False):
        part = part[np.isfinite(part[one.hand]) & np.isfinite(part[one.ball]) & (part["cue"] != "")]
        cues = [cue for cue in known if (part["cue"] == cue).any()]
        if len(cues) != 2 or len(part) < 8 or len(lines) >= 10:
            continue
        cue = np.asarray(part["cue"] == cues[1], np.float64)
        path = path_through_hand(
            cue, part[one.hand].to_numpy(float), part[one.ball].to_numpy(float), own_sd(part, one.hand)
        )
        lines.append(f"  {athlete}, {cues[1]} against {cues[0]}: {_path(path)}")
    return [*lines, f"  {ASSUMPTION}"] if lines else []


def _path(path: Path) -> str:
    if not np.isfinite(path.through):
        return "with the cue held the angle scatters no more than it is measured: no path can be told"
    share = f"{path.share:.0%} of {path.total:+.2f}" if path.share is not None else "total unclear"
    return (
        f"through the hand {path.through:+.2f} [{path.through_low:+.2f} to {path.through_high:+.2f}], {share}"
    )


def pooled_lines(found: Pooled) -> list[str]:
    """A cue over athletes, each athlete's own estimate and the pooled one."""
    lines = [
        f"{athlete}: own {own:+.1f} (SE {se:.1f}), with the others' help {shrunk:+.1f}"
        for athlete, own, se, shrunk in zip(
            found.athletes, found.own, found.own_se, found.shrunk, strict=True
        )
    ]
    lines.append(
        f"pooled {found.pooled:+.1f} [{found.low:+.1f} to {found.high:+.1f}]; "
        f"SD between athletes' true effects {found.between_sd:.1f}"
    )
    lines.append(
        f"fatigue {found.per_throw:+.3f} a throw; carry-over of the cue before {found.carry_over:+.1f}"
        f" (p {found.carry_over_p:.2g})"
    )
    return [*lines, found.sentence]


def agreement_lines(found: pd.DataFrame) -> list[str]:
    """Agreement in words, a line a figure; where the table names its readings, a heading for each two."""
    lines: list[str] = []
    for row in found.to_dict("records"):
        heading = f"{row['first']} against {row['second']}:" if "first" in row else ""
        if heading and heading not in lines:
            lines.append(heading)
        forms = ", ".join(f"{name} {value:.2f}" for name, value in row.items() if str(name).startswith("ICC"))
        lines.append(
            f"{row['figure']}: {row['clips']} clips, {forms}; SEM {row['SEM']:.2f}, "
            f"detectable {row['detectable']:.2f}, bias {row['bias']:+.2f}, "
            f"limits {row['limit_low']:+.2f} to {row['limit_high']:+.2f}"
        )
    return lines
