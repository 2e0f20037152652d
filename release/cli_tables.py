"""Commands on plain tables: link."""

from pathlib import Path

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(link)


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
