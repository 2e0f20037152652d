"""Commands on plain tables: link, season, sheet."""

from pathlib import Path

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(link)
    app.command()(season)
    app.command()(sheet)


def link(
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

    found = read_files.link_files(
        clips=clips, sheet=sheet, flights=flight, mapping=mapping, decisions=decisions, time_zone=time_zone
    )
    if csv is not None:
        write.write_links(found.session, csv, found.set_aside)
    typer.echo(read_files.why_throw(found.session, why) if why else read_files.summary(found))


def season(
    folder: Path = typer.Argument(help="A folder with a folder for each past session."),
    csv: Path | None = typer.Option(None, help="A folder to write each session's links to."),
    time_zone: str = typer.Option("", help="Zone of times without one: America/Chicago."),
) -> None:
    """Link a whole folder of past sessions, and report what could not be matched."""
    from release.session import read_season, write

    sessions = read_season.link_season(folder, time_zone)
    if csv is not None:
        write.write_season(sessions, csv)
    typer.echo(read_season.season_report(sessions))


def sheet(
    form: Path = typer.Option(..., "--print", help="Where to write the form: NAME.pdf or NAME.html."),
    plan: Path | None = typer.Option(None, help="plan.toml: the planned cues are printed in its order."),
    throws_per_block: int = typer.Option(2, min=1, help="Throws in each block of the plan."),
    throws: int = typer.Option(30, min=1, help="At least so many lines."),
    athlete: str = typer.Option("", help="The athlete's code."),
) -> None:
    """Print the throw sheet as an A4 form to fill by hand in the dug-out."""
    from release.session.read_plan import read_plan
    from release.views.write_sheet_form import form_rows, write_sheet_form

    rows = form_rows(read_plan(plan) if plan else None, throws_per_block, throws)
    write_sheet_form(form, rows, athlete)
    typer.echo(f"{form}: {len(rows)} lines")
