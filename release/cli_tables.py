"""Commands on plain tables: link, season, sheet; and what comes before them: place, cut."""

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from release.session.read_files import LinkedFiles
    from release.session.read_season import PastSession


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(link)
    app.command()(season)
    app.command()(sheet)
    app.command()(place)
    app.command()(cut)


def link(
    logbook: Path | None = typer.Argument(None, help="A logbook, in place of the files."),
    session: str | None = typer.Option(None, help="Name of the logbook's session; else the newest."),
    clips: Path | None = typer.Option(None, help="Clips, a row each: clip, camera, time, throws, speed_mph."),
    sheet: Path | None = typer.Option(None, help="Throw sheet, in the order thrown."),
    flight: list[Path] = typer.Option([], help="Flight file; several that overlap are taken as one."),
    csv: Path | None = typer.Option(None, help="Where to write the links, a row for every row that came in."),
    mapping: Path | None = typer.Option(
        None, help="Mapping file for the flight unit's own columns and units."
    ),
    decisions: Path | None = typer.Option(
        None, help="What people decided: kind, clip, throw, flight, who, at."
    ),
    time_zone: str = typer.Option("", help="Zone of times without one in sheet and clips: America/Chicago."),
    why: str = typer.Option("", help="Tell of this throw what linked it and what the runner-up was."),
) -> None:
    """Link clips, throw sheet and flight file of one session; ask about what is not certain."""
    from release.session import read_files, write

    if logbook is not None:
        found = _linked_logbook(logbook, session)
    else:
        found = read_files.link_files(
            clips=clips,
            sheet=sheet,
            flights=flight,
            mapping=mapping,
            decisions=decisions,
            time_zone=time_zone,
        )
    if csv is not None:
        write.write_links(found.session, csv, found.set_aside)
    typer.echo(read_files.why_throw(found.session, why) if why else read_files.summary(found))


def _linked_logbook(folder: Path, session: str | None) -> "LinkedFiles":
    from release.logbook import link_logbook
    from release.record.read import session_id
    from release.record.write_open import open_logbook
    from release.session.read_files import LinkedFiles

    logbook = open_logbook(folder)
    linked = link_logbook(logbook, session_id(logbook, session))
    return LinkedFiles(session=linked, tables={}, set_aside={}, notes=linked.notes)


def season(
    folder: Path = typer.Argument(help="A folder with a folder for each past session."),
    csv: Path | None = typer.Option(None, help="A folder to write each session's links to."),
    into: Path | None = typer.Option(None, help="A logbook to take clips, sheets and flight files into."),
    time_zone: str = typer.Option("", help="Zone of times without one: America/Chicago."),
) -> None:
    """Link a whole folder of past sessions, and report what could not be matched."""
    from release.session import read_season, write

    sessions = read_season.link_season(folder, time_zone)
    if csv is not None:
        write.write_season(sessions, csv)
    typer.echo(read_season.season_report(sessions))
    if into is not None:
        _take_in_season(into, sessions, time_zone)


def _take_in_season(into: Path, sessions: "Sequence[PastSession]", time_zone: str) -> None:
    from release.cli_session import enter, take_in
    from release.errors import ReleaseError
    from release.record.write_open import new_logbook

    logbook = new_logbook(into)
    for past in sessions:
        typer.echo(f"taking in {past.name}")
        if past.videos:
            take_in(logbook, past.videos, past.name)
        try:
            enter(
                logbook,
                past.name,
                sheet=past.sheet,
                flights=list(past.flights),
                mapping=past.mapping,
                plan=past.plan,
                time_zone=time_zone,
            )
        except ReleaseError as error:
            typer.echo(f"  not taken in: {error}")
    book = shlex.quote(str(into))
    typer.echo(f"next:\n  release measure {book}")
    for past in sessions:
        if past.linked is not None:
            name, out = shlex.quote(past.name), shlex.quote(f"reports/{past.name}")
            typer.echo(f"  release report {book} --session {name} --out {out}")


def sheet(
    logbook: Path | None = typer.Argument(None, help="A logbook to enter FILE in."),
    file: Path | None = typer.Argument(None, help="A filled throw sheet, in the order thrown."),
    session: str | None = typer.Option(None, help="Name of the logbook's session; else today's."),
    time_zone: str = typer.Option("", help="Zone of times without one: America/Chicago."),
    form: Path | None = typer.Option(None, "--print", help="Print a blank form: NAME.pdf or NAME.html."),
    plan: Path | None = typer.Option(
        None, help="plan.toml: kept with the session; on a form, its planned cues are printed."
    ),
    throws_per_block: int = typer.Option(2, min=1, help="On a form: throws in each block of the plan."),
    throws: int = typer.Option(30, min=1, help="On a form: at least so many lines."),
    athlete: str = typer.Option("", help="On a form: the athlete's code."),
) -> None:
    """Enter a throw sheet in a logbook; or print one as an A4 form to fill by hand in the dug-out."""
    if form is None:
        if logbook is None or file is None:
            raise typer.BadParameter("name a logbook and a sheet to enter, or --print FILE for a blank form")
        _enter_sheet(logbook, file, session, plan, time_zone)
        return
    from release.session.read_plan import read_plan
    from release.views.write_sheet_form import form_rows, write_sheet_form

    rows = form_rows(read_plan(plan) if plan else None, throws_per_block, throws)
    write_sheet_form(form, rows, athlete)
    typer.echo(f"{form}: {len(rows)} lines")


def _enter_sheet(folder: Path, file: Path, session: str | None, plan: Path | None, time_zone: str) -> None:
    from release.cli_session import enter
    from release.record.write_open import open_logbook

    book = open_logbook(folder)
    enter(book, session, sheet=file, flights=[], mapping=None, plan=plan, time_zone=time_zone)


def place(
    logbook: Path = typer.Argument(help="The logbook's folder."),
    session: str | None = typer.Option(None, help="Name of the logbook's session; else today's."),
    distance_ft: float | None = typer.Option(
        None, help="Front of the rubber to the plate's back point: 60.5, 54, 50 or 46."
    ),
    mound_in: float | None = typer.Option(None, help="Height of the rubber above the plate; 0: flat ground."),
    ball: str | None = typer.Option(None, help="What ball was thrown, in your own words."),
    ball_weight_oz: float | None = typer.Option(None, help="What it weighs."),
) -> None:
    """Say where a session was thrown and with what ball; flight files entered after it are read so."""
    from release.record.write_open import open_logbook
    from release.session_setting import enter_setting

    given = {"plate_back_ft": distance_ft, "mound_height_in": mound_in}
    given |= {"ball": ball, "ball_weight_oz": ball_weight_oz}
    declared = {name: value for name, value in given.items() if value is not None}
    typer.echo(str(enter_setting(open_logbook(logbook), session, declared)))


def cut(
    recording: Path = typer.Argument(help="A video of a phone that was left running."),
    out: Path = typer.Argument(help="Folder to write the clips to."),
    slowdown: float | None = typer.Option(None, help="How many times the file plays slowed."),
    capture_fps: float | None = typer.Option(None, help="Frames a second while filming."),
) -> None:
    """Cut a long recording into a clip for each throw, each with its own time; nothing is encoded again."""
    from release.session.write_cut import write_cut

    for piece in write_cut(recording, out, slowdown=slowdown, capture_fps=capture_fps):
        several = f", {piece.throws} THROWS: no key frame lies between them" if piece.throws > 1 else ""
        typer.echo(f"{piece.path}: from {piece.start_s:.1f} s{several}")
