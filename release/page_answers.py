"""Answers of the study as the page shows them: two cues compared as they were drawn, the running answer."""

from dataclasses import replace

from release.errors import ReleaseError
from release.live_draw import LiveDraw, earlier_noise, kept_draws
from release.record.write_open import Logbook
from release.session_report import plan_of_session, session_throws
from release.stats.compare import Settings, compare
from release.stats.live_table import live_session
from release.stats.read_throws import ThrowTable
from release.stats.result import Comparison
from release.stats.sentences import live_lines
from release.suggest.read_words import Words
from release.suggest.rename import in_use, plan_in_use, words_in_use
from release.views.words import axis_label


def cue_comparisons(
    logbook: Logbook, session: str, cues: tuple[str, str], *, words: Words | None = None
) -> list[Comparison]:
    """Every figure that two cues can be compared in, for each athlete and pitch: the second less the first.

    Args:
        logbook: Where.
        session: Its id.
        cues: Two, in the words now in use.
        words: The facility's, whose renames the throws and the plan are read in.

    Raises:
        ReleaseError: The session's table, or its plan, cannot be analysed.
    """
    table, plan = _throws(logbook, session, words), plan_of_session(logbook, session)
    plan = plan_in_use(plan, words.renames, words.cues) if plan and words else plan
    rows = table.rows[table.rows["cue"].isin(cues)]
    figures = [name for name in table.figures if rows[name].notna().any()]
    found = compare(rows, figures, Settings(plan=plan, refine=False))
    of_both = [one for one in found if {one.cue_a, one.cue_b} == set(cues) and one.difference is not None]
    return [one if (one.cue_a, one.cue_b) == cues else one.turned() for one in of_both]


def running_answer(
    logbook: Logbook, session: str, cues: tuple[str, str], figure: str, *, words: Words | None = None
) -> list[str]:
    """What is known so far of the athlete and pitch thrown last, and the next cue, as lines.

    It is told of throws whose cues were drawn: by the draw that the logbook keeps.
    """
    try:
        table = _throws(logbook, session, words)
        rows = table.rows[table.rows["cue"].isin(cues)]
        if rows.empty:
            return ["no throw carries one of these cues yet"]
        who, what = rows.iloc[-1][["athlete", "pitch"]]
        own = rows[(rows["athlete"] == who) & (rows["pitch"] == what)]
        said = f"{who}, {what}: {len(own)} throws with these cues"
        draw = _kept(logbook, session, who, what, cues, words)
        if draw is None:
            return [f"{said}, which were not drawn: `release live` draws the next cue and keeps the draw"]
        one = replace(table, rows=own.reset_index(drop=True))
        noise = earlier_noise(logbook, draw, figure)
        lines = live_lines(live_session(one, draw.cues, figure, draw.seed, noise=noise))
    except ReleaseError as error:
        return [str(error)]
    unit = axis_label(figure, metric=figure.endswith("_m")).splitlines()[0]  # lines are in units as stored
    less = f"{unit}, “{draw.cues[1]}” less “{draw.cues[0]}”, drawn with seed {draw.seed}"
    return [f"{said}. {less}:", *lines[1:][-3:]]


def _kept(
    logbook: Logbook, session: str, athlete: str, pitch: str, cues: tuple[str, str], words: Words | None
) -> LiveDraw | None:
    """The draw of these cues, whatever they were called when it was made, in the words now in use."""
    now = words_in_use(words.renames, words.cues)["cue"] if words else {}
    for draw in kept_draws(logbook, session, athlete, pitch):
        first, second = (now.get(cue, cue) for cue in draw.cues)
        if {first, second} == set(cues):
            return replace(draw, cues=(first, second))
    return None


def _throws(logbook: Logbook, session: str, words: Words | None) -> ThrowTable:
    table = session_throws(logbook, session)
    return replace(table, rows=in_use(table.rows, words.renames, words.cues)) if words else table
