"""Answers of the study as the page shows them: two cues compared as they were drawn, the running answer."""

from dataclasses import replace

from release.errors import ReleaseError
from release.record.write_open import Logbook
from release.session_report import plan_of_session, session_throws
from release.stats.compare import Settings, compare
from release.stats.live_table import live_session
from release.stats.read_throws import ThrowTable
from release.stats.result import Comparison
from release.stats.sentences import live_lines
from release.suggest.read_words import Words
from release.suggest.rename import in_use, plan_in_use
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
    return [one if (one.cue_a, one.cue_b) == cues else _turned(one) for one in of_both]


def _turned(one: Comparison) -> Comparison:
    """The same comparison with the other cue taken from this one."""

    def less(end: float | None) -> float | None:
        return None if end is None else -end

    return replace(
        one,
        cue_a=one.cue_b,
        cue_b=one.cue_a,
        n_a=one.n_b,
        n_b=one.n_a,
        difference=less(one.difference),
        low=less(one.high),
        high=less(one.low),
        low90=less(one.high90),
        high90=less(one.low90),
    )


def running_answer(
    logbook: Logbook,
    session: str,
    cues: tuple[str, str],
    figure: str,
    seed: int,
    *,
    words: Words | None = None,
) -> list[str]:
    """What is known so far of the athlete and pitch thrown last, and the next cue, as lines."""
    try:
        table = _throws(logbook, session, words)
        if figure not in table.figures:
            return [f"no throw with {figure} is linked yet"]
        rows = table.rows[table.rows["cue"].isin(cues) & table.rows[figure].notna()]
        if rows.empty:
            return ["no linked throw carries one of these cues yet"]
        last = rows.iloc[-1]
        own = rows[(rows["athlete"] == last["athlete"]) & (rows["pitch"] == last["pitch"])]
        one = ThrowTable(rows=own.reset_index(drop=True), figures=table.figures, notes=table.notes)
        lines = live_lines(live_session(one, cues, figure, seed))
    except ReleaseError as error:
        return [str(error)]
    unit = axis_label(figure, metric=figure.endswith("_m")).splitlines()[0]  # lines are in units as stored
    less = f"{unit}, “{cues[1]}” less “{cues[0]}”"
    return [f"{last['athlete']}, {last['pitch']}: {len(own)} throws with these cues. {less}:", *lines[-3:]]


def _throws(logbook: Logbook, session: str, words: Words | None) -> ThrowTable:
    table = session_throws(logbook, session)
    return replace(table, rows=in_use(table.rows, words.renames, words.cues)) if words else table
