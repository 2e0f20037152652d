"""Commands that run the main job in one go: report, demo; and a person's word on its links: settle."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import typer

if TYPE_CHECKING:
    from release.record.write_open import Logbook

SAMPLE = Path("sample_clips")


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(report)
    app.command()(demo)
    app.command()(settle)


def report(
    source: list[Path] = typer.Argument(help="A logbook; or the session's clips, or a folder of them."),
    session: str | None = typer.Option(None, help="Name of the session; without it the newest one."),
    sheet: Path | None = typer.Option(None, help="Throw sheet, in the order thrown."),
    flight: list[Path] = typer.Option([], help="Flight file; may be repeated."),
    mapping: Path | None = typer.Option(None, help="Mapping for the flight unit's own columns and units."),
    plan: Path | None = typer.Option(None, help="plan.toml: how the cues were drawn."),
    out: Path = typer.Option(Path("reports/session"), help="Folder to write the report to."),
    title: str | None = typer.Option(None, help="What the report is called."),
    cues: Path | None = typer.Option(
        None, help="The facility's cues, TOML: renamed ones in their new words."
    ),
    time_zone: str = typer.Option("", help="Zone of times without one: America/Chicago."),
    metric: bool = typer.Option(False, "--metric", help="cm, m and km/h."),
    workers: int = typer.Option(2, min=1, help="Clips measured at once."),
) -> None:
    """Measure what is new, link clips with sheet and flight file, compare the cues, write the report.

    Given clips in place of a logbook, it makes a logbook in the report's folder: run again, it goes on there.
    """
    from release.record.write_open import new_logbook, open_logbook

    if len(source) == 1 and (source[0] / "logbook.toml").is_file():
        logbook = open_logbook(source[0])
    else:
        logbook = new_logbook(out / "logbook")
        take_in(logbook, source, session)
    enter(logbook, session, sheet=sheet, flights=flight, mapping=mapping, plan=plan, time_zone=time_zone)
    measure_and_report(logbook, session, out, title=title, cues=cues, metric=metric, workers=workers)


def demo(
    out: Path = typer.Option(Path("reports/demo"), help="Folder to write the report to."),
    metric: bool = typer.Option(False, "--metric", help="cm, m and km/h."),
    workers: int = typer.Option(2, min=1, help="Clips measured at once."),
) -> None:
    """Measure the sample session of a checkout and write its report."""
    from release.errors import ModelsNotFetched, SampleMissing
    from release.landmarks.read_models import fetch_models
    from release.record.write_open import new_logbook

    if not (SAMPLE / "sheet.csv").is_file():
        raise SampleMissing(SAMPLE)
    try:
        fetch_models()
    except ModelsNotFetched as error:  # our own networks do without
        typer.echo(f"going on without a second opinion: {error}")
    logbook, name = new_logbook(out / "logbook"), "Sample session in an invented training barn"
    take_in(logbook, [SAMPLE], name)
    enter(
        logbook,
        name,
        sheet=SAMPLE / "sheet.csv",
        flights=[SAMPLE / "flight.csv"],
        mapping=None,
        plan=SAMPLE / "plan.toml",
        time_zone="",
    )
    measure_and_report(logbook, name, out, title=None, cues=None, metric=metric, workers=workers)


def settle(
    logbook: Path = typer.Argument(help="The logbook's folder."),
    said: Literal["together", "apart", "extra", "swap"] = typer.Argument(
        help="They are one throw; they are not; it belongs to no throw; the two change places."
    ),
    clip: list[str] = typer.Option([], help="A clip by its file's name; two to swap them."),
    throw: list[int] = typer.Option([], help="A throw by its number on the sheet."),
    flight: list[str] = typer.Option([], help="A row of the flight file."),
    session: str | None = typer.Option(None, help="Name of the session; without it the newest one."),
    who: str = typer.Option("coach", help="Who says so."),
) -> None:
    """Say what belongs together, which is final, and align the session round it. The latest word holds."""
    from release import settle as words
    from release.record.read import session_id
    from release.record.write_open import open_logbook
    from release.session.read_files import named

    book = open_logbook(logbook)
    one = session_id(book, session)
    for row in words.settle(book, one, said, who=who, clips=clip, throws=throw, flights=flight):
        typer.echo(f"{named(row)}: {row.state}, probability {row.probability:.4f}: {row.why}")


def take_in(logbook: "Logbook", sources: Sequence[Path | str], session: str | None, camera: str = "") -> None:
    """Take clips in, telling of each that was not."""
    from release.record.write import session_for
    from release.record.write_clips import add_clips, clips_in

    new = known = 0
    for one in add_clips(logbook, clips_in(sources), session_for(logbook, session), camera=camera):
        new, known = new + one.new, known + (one.why_not is None and not one.new)
        if one.why_not is not None:
            typer.echo(f"not taken in: {one.why_not}")
    typer.echo(f"clips: {new} new, {known} known already")


def enter(
    logbook: "Logbook",
    session: str | None,
    *,
    sheet: Path | None,
    flights: list[Path],
    mapping: Path | None,
    plan: Path | None,
    time_zone: str,
) -> None:
    """Enter what there is of sheet, flight files and plan, telling of every row set aside."""
    from release import logbook as book

    if plan is not None:
        book.enter_plan(logbook, plan, session)
    entered = {}
    if sheet is not None:
        entered[sheet] = book.enter_sheet(logbook, sheet, session, time_zone)
    for file in flights:
        entered[file] = book.enter_flights(logbook, file, session, mapping)
    for file, one in entered.items():
        typer.echo(f"{file.name}: {one.new} rows new, {one.changed} changed, {len(one.set_aside)} set aside")
        for row in one.set_aside:
            typer.echo(f"  set aside: row {row.row}: {row.why}")
        for note in one.notes:
            typer.echo(f"  note: {note}")


def measure_with_bar(
    logbook: "Logbook",
    session: str | None,
    workers: int,
    *,
    scheduler: str | None = None,
    again: bool = False,
) -> None:
    """Measure what is new with a progress bar, telling of each clip that was refused or set aside."""
    from rich.progress import Progress

    from release.logbook import measure_logbook

    with Progress() as bar:
        task = bar.add_task("measuring clips", total=None)

        def show(_one: object, total: int) -> None:
            bar.update(task, advance=1, total=total)

        done = measure_logbook(
            logbook, session, workers=workers, scheduler=scheduler, again=again, progress=show
        )
        bar.update(task, total=len(done), completed=len(done))
    for one in sorted(done, key=lambda one: one.name):
        if one.why is not None:
            typer.echo(f"not measured: {one.name}: {one.why}")
    typer.echo(f"measured: {sum(one.why is None for one in done)} of {len(done)} clips that were new")


def fit_pairs(logbook: "Logbook", session: str, workers: int, *, scheduler: str | None = None) -> None:
    """Link a session, and fit together the clips that two phones took of one throw, where not done."""
    from release.logbook import link_logbook, pairs_to_fit

    link_logbook(logbook, session)
    if pairs := pairs_to_fit(logbook, session):
        typer.echo(f"throws seen by two phones: {len(pairs)} clips are measured again")
        measure_with_bar(logbook, session, workers, scheduler=scheduler)


def measure_and_report(
    logbook: "Logbook",
    session: str | None,
    out: Path,
    *,
    title: str | None,
    cues: Path | None,
    metric: bool,
    workers: int,
) -> None:
    """The rest of the main job, once everything is taken in."""
    from release.clock_fill import fill_clocks
    from release.record.read import session_id
    from release.session_report import write_session_report
    from release.suggest.read_words import read_words

    words = read_words(cues) if cues else None
    one = session_id(logbook, session)
    measure_with_bar(logbook, one, workers)
    fit_pairs(logbook, one, workers)
    if filled := fill_clocks(logbook, one):
        typer.echo(f"clocks told by the flight unit's speeds: {len(filled)}; those clips are measured again")
        measure_with_bar(logbook, one, workers)
        fit_pairs(logbook, one, workers)
    made = write_session_report(logbook, one, out, title=title, words=words, metric=metric)
    typer.echo(f"report: {made}")
