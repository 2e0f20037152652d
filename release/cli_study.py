"""Commands on the study: compare, relate, pool, agreement, spin-check, export."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pandas import DataFrame

    from release.session.result import Plan
    from release.stats.compare import Settings
    from release.stats.read_throws import ThrowTable

Book = Annotated[Path | None, typer.Argument(help="A logbook, in place of --table.")]
Newest = Annotated[str | None, typer.Option(help="The logbook's session; else the newest.")]
Every = Annotated[str | None, typer.Option(help="The logbook's session; else all of them.")]
Table = Annotated[
    Path | None, typer.Option(help="CSV: athlete, pitch, throw, cue, block, figures, FIGURE_sd.")
]
Out = Annotated[Path | None, typer.Option(help="CSV to write.")]
Earlier = Annotated[
    Path | None, typer.Option(help="Table of earlier sessions: how this athlete's throws scatter.")
]
Cues = Annotated[
    list[str], typer.Option("--cue", help="A cue; give the option once for each, the usual one first.")
]


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    for command in (compare, relate, pool, agreement, export):
        app.command()(command)
    app.command("spin-check")(spin_check)


def compare(
    logbook: Book = None,
    session: Newest = None,
    table: Table = None,
    csv: Out = None,
    design: Annotated[Path | None, typer.Option(help="plan.toml: how the cues were drawn.")] = None,
    main: Annotated[str | None, typer.Option(help="The figure named before the session.")] = None,
    worth: Annotated[
        list[str] | None, typer.Option(help="Smallest change worth having, FIGURE=NUMBER; may be repeated.")
    ] = None,
    earlier: Earlier = None,
    cues: Annotated[
        Path | None, typer.Option(help="The facility's cues, TOML: renamed ones are read in their new words.")
    ] = None,
    chart: Annotated[
        Path | None, typer.Option(help="SVG to write: the main figure of the first athlete and pitch.")
    ] = None,
) -> None:
    """Did the cue change the figure? Second cue minus first, tested as the cues were drawn.

    Answers: changed, no meaningful change, cannot tell yet, design too small. Without a main outcome in the
    plan or --main the table's first figure is taken for it. A logbook's own plan holds unless
    --design is given.
    """
    from release.session.read_plan import read_plan
    from release.stats.compare import Settings
    from release.stats.compare import compare as compare_table
    from release.stats.earlier import noise_by_athlete
    from release.stats.read_throws import read_throws
    from release.stats.sentences import comparison_lines, numbers_by_name
    from release.stats.write_comparisons import write_comparisons

    throws = _throws(logbook, session, table, newest=True)
    planned = read_plan(design) if design else _kept_plan(logbook, session)
    if cues is not None:
        throws, planned = _renamed(throws, planned, cues)
    settings = Settings(
        plan=planned,
        main=main,
        worth=numbers_by_name(worth or []),
        noise=noise_by_athlete(read_throws(earlier)) if earlier else None,
    )
    found = compare_table(throws.rows, throws.figures, settings)
    for line in comparison_lines(found, throws.notes):
        typer.echo(line)
    shown = next((one for one in found if one.main and one.cue_b), None)
    if chart and shown:
        from release.views.cue_marks import cue_marks
        from release.views.figures_study import throws_and_verdict

        of_pair = throws.rows[(throws.rows[["athlete", "pitch"]] == [shown.athlete, shown.pitch]).all(axis=1)]
        chart.write_text(throws_and_verdict(of_pair, shown, cue_marks(of_pair["cue"])), encoding="utf-8")
    if csv is not None:
        write_comparisons(found, csv)
        typer.echo(f"wrote {len(found)} comparisons to {csv}")


def _throws(
    logbook: Path | None, session: str | None, table: Path | None, *, newest: bool = False
) -> "ThrowTable":
    """The throws of a table, or of a logbook: one session's, or where none is named all or the newest."""
    from release.record.read import session_id
    from release.record.write_open import open_logbook
    from release.session_report import session_throws
    from release.stats.read_throws import NoThrows, read_throws

    if (table is None) == (logbook is None):
        raise typer.BadParameter("name a logbook or a table of throws (--table), one of the two")
    if table is not None:
        return read_throws(table)
    assert logbook is not None
    book = open_logbook(logbook)
    found = session_throws(book, session_id(book, session) if session or newest else None)
    if found.rows.empty:
        raise NoThrows
    return found


def _kept_plan(logbook: Path | None, session: str | None) -> "Plan | None":
    from release.record.read import session_id
    from release.record.write_open import open_logbook
    from release.session_report import plan_of_session

    if logbook is None:
        return None
    book = open_logbook(logbook)
    return plan_of_session(book, session_id(book, session))


def _renamed(throws: "ThrowTable", planned: "Plan | None", cues: Path) -> "tuple[ThrowTable, Plan | None]":
    from dataclasses import replace

    from release.suggest.read_words import read_words
    from release.suggest.rename import in_use, plan_in_use

    words = read_words(cues)
    throws = replace(throws, rows=in_use(throws.rows, words.renames, words.cues))
    return throws, planned and plan_in_use(planned, words.renames, words.cues)


def relate(
    hand: Annotated[str, typer.Option(help="Column of the hand's angle.")],
    ball: Annotated[str, typer.Option(help="Column of the ball's figure.")],
    logbook: Book = None,
    session: Every = None,
    table: Table = None,
    csv: Out = None,
    chart: Annotated[
        Path | None, typer.Option(help="SVG to write, of the first pitch that can be told.")
    ] = None,
) -> None:
    """How does the ball go with the hand? Within athletes, between athletes, and through the cue."""
    from release.stats.relate import relate as relate_table
    from release.stats.sentences import relation_lines

    throws = _throws(logbook, session, table).needing(hand, ball)
    found = relate_table(throws.rows, hand, ball)
    for line in relation_lines(found, throws.rows):
        typer.echo(line)
    shown = next((one for one in found if one.own), None)
    if chart and shown:
        from release.views.figures_study import angle_against_ball

        rows = throws.rows[throws.rows["pitch"] == shown.pitch]
        chart.write_text(angle_against_ball(rows, shown), encoding="utf-8")
    if csv:
        from release.stats.write_relations import write_relations

        write_relations(found, csv)
        typer.echo(f"wrote {len(found)} relations to {csv}")


def pool(
    figure: Annotated[str, typer.Option(help="The figure.")],
    pitch: Annotated[str, typer.Option(help="The pitch.")],
    cue: Cues,
    logbook: Book = None,
    session: Every = None,
    table: Table = None,
    chart: Annotated[Path | None, typer.Option(help="SVG to write.")] = None,
) -> None:
    """What does a cue do over athletes? Each athlete's own estimate beside the pooled one."""
    from release.stats.across import pooled
    from release.stats.sentences import pooled_lines

    rows = _throws(logbook, session, table).needing(figure).rows
    found = pooled(rows[rows["pitch"] == pitch], figure, cue[0], cue[-1])
    for line in pooled_lines(found):
        typer.echo(line)
    if chart:
        from release.views.figures_study import cue_over_athletes

        chart.write_text(cue_over_athletes(found, figure), encoding="utf-8")
        typer.echo(f"wrote {chart}")


def agreement(
    logbook: Annotated[Path | None, typer.Argument(help="A logbook whose clips were read blind.")] = None,
    session: Annotated[str | None, typer.Option(help="The logbook's session; else all of them.")] = None,
    angles: Annotated[
        bool, typer.Option("--angles", help="Also fit the arm to each blind reading; seconds a clip.")
    ] = False,
    first: Annotated[Path | None, typer.Option(help="CSV of one reading: clip, figures.")] = None,
    second: Annotated[Path | None, typer.Option(help="CSV of the other reading of the same clips.")] = None,
    csv: Annotated[Path | None, typer.Option(help="CSV to write.")] = None,
) -> None:
    """How well do two readings of the same clips agree? Six intraclass correlations, SEM, limits.

    Clips are read blind on the review page; or name two tables.
    """
    from release.stats.read_readings import read_readings
    from release.stats.readings import agreement_table
    from release.stats.sentences import agreement_lines

    if logbook is not None and first is None and second is None:
        found = _agreement_in(logbook, session, angles)
    elif logbook is None and first is not None and second is not None:
        found = agreement_table(read_readings(first), read_readings(second))
    else:
        raise typer.BadParameter("name a logbook, or two tables with --first and --second")
    for line in agreement_lines(found):
        typer.echo(line)
    if csv:
        found.to_csv(csv, index=False, float_format="%.6g", lineterminator="\n")
        typer.echo(f"wrote {len(found)} figures to {csv}")


def _agreement_in(folder: Path, session: str | None, angles: bool) -> "DataFrame":
    from release.readings import agreements
    from release.record.read import session_id
    from release.record.write_open import open_logbook

    book = open_logbook(folder)
    with _measuring() as done:
        return agreements(book, session_id(book, session) if session else None, angles=angles, progress=done)


def spin_check(
    logbook: Book = None,
    session: Every = None,
    table: Table = None,
    csv: Annotated[Path | None, typer.Option(help="CSV to write, a row a throw.")] = None,
) -> None:
    """Does the ball's spin axis lie in the palm's plane? A warning light for bad links and bad angles."""
    from release.stats.spin_table import NEEDED, spin_lines, spin_table

    found = spin_table(_throws(logbook, session, table).needing(*NEEDED).rows)
    for line in spin_lines(found):
        typer.echo(line)
    if csv:
        found.to_csv(csv, index=False, float_format="%.6g", lineterminator="\n")
        typer.echo(f"wrote {len(found)} throws to {csv}")


def export(
    source: Annotated[Path, typer.Argument(help="A logbook, or a table of throws as for compare.")],
    out: Annotated[Path, typer.Argument(help="Folder to write to.")],
    session: Annotated[str | None, typer.Option(help="The logbook's session; else all of them.")] = None,
    design: Annotated[Path | None, typer.Option(help="plan.toml, where the source is a table.")] = None,
    main: Annotated[str | None, typer.Option(help="The figure named before the session.")] = None,
    worth: Annotated[
        list[str] | None, typer.Option(help="Smallest change worth having, FIGURE=NUMBER; may be repeated.")
    ] = None,
    over_time: Annotated[
        bool, typer.Option("--over-time", help="Also landmarks and angles over time; measures clips again.")
    ] = False,
    workers: Annotated[int, typer.Option(min=1, help="Clips measured at once.")] = 2,
) -> None:
    """Export for research: throws and comparisons as CSV and Parquet, data dictionary, methods, one hash."""
    from release.stats.compare import Settings
    from release.stats.sentences import numbers_by_name
    from release.study_export import export_table

    settings = Settings(main=main, worth=numbers_by_name(worth or []))
    if (source / "logbook.toml").is_file():
        if design:
            raise typer.BadParameter("a logbook holds its own plans; enter one with `release sheet --plan`")
        sha256 = _export_logbook(source, out, session, settings, over_time, workers)
    else:
        if session or over_time:
            raise typer.BadParameter("--session and --over-time go with a logbook")
        sha256 = export_table(source, out, settings, design)
    typer.echo(f"export: {out}, frozen as {sha256}")


def _export_logbook(
    folder: Path, out: Path, session: str | None, settings: "Settings", over_time: bool, workers: int
) -> str:
    from release.record.read import session_id
    from release.record.write_open import open_logbook
    from release.study_export import export_logbook

    book = open_logbook(folder)
    one = session_id(book, session) if session else None
    with _measuring() as done:
        return export_logbook(book, one, out, settings, over_time=over_time, workers=workers, progress=done)


@contextmanager
def _measuring() -> Iterator[Callable[[int], None]]:
    from rich.progress import Progress

    with Progress(transient=True) as bar:
        task = bar.add_task("measuring clips", total=None, visible=False)
        yield lambda of: bar.update(task, advance=1, total=of, visible=True)
