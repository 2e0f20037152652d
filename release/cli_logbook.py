"""Commands on a logbook, step by step: new, add, flight, measure, sessions."""

from pathlib import Path
from typing import Annotated

import typer

Book = Annotated[Path, typer.Argument(help="The logbook's folder.")]
Named = Annotated[str | None, typer.Option("--session", help="Name of the session.")]


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    for command in (new, add, flight, measure, sessions):
        app.command()(command)


def new(
    logbook: Annotated[Path, typer.Argument(help="Folder to make; a logbook that is there stays as it is.")],
    database: Annotated[
        str | None, typer.Option(help="PostgreSQL address; without it a file in the folder.")
    ] = None,
) -> None:
    """Make an empty logbook."""
    from release.record.write_open import new_logbook

    typer.echo(f"logbook: {new_logbook(logbook, database).folder}")


def add(
    logbook: Book,
    clips: Annotated[list[str], typer.Argument(help="Clips, folders of clips, or addresses of clips.")],
    session: Named = None,
    camera: Annotated[str, typer.Option(help="Which phone, where there are several.")] = "",
) -> None:
    """Take clips in: each is copied whole under its content hash; the same clip again changes nothing."""
    from release.cli_session import take_in
    from release.record.write_open import open_logbook

    take_in(open_logbook(logbook), clips, session, camera)


def flight(
    logbook: Book,
    file: Annotated[list[Path], typer.Argument(help="Flight files.")],
    session: Named = None,
    mapping: Annotated[Path | None, typer.Option(help="For the unit's own columns and units.")] = None,
) -> None:
    """Enter the balls of a flight file."""
    from release.cli_session import enter
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    enter(book, session, sheet=None, flights=file, mapping=mapping, plan=None, time_zone="")


def measure(
    logbook: Book,
    session: Named = None,
    workers: Annotated[int, typer.Option(min=1, help="Clips measured at once.")] = 2,
    scheduler: Annotated[
        str | None, typer.Option(help="Dask scheduler whose workers measure instead: tcp://host:8786.")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Also clips that are measured already.")] = False,
) -> None:
    """Measure the clips that are new, or whose models, settings or corrections have changed.

    Sessions filmed by several phones are linked, and clips of one throw fitted together.
    """
    from release.cli_session import fit_pairs, measure_with_bar
    from release.record.read import clips, session_id
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    one = session_id(book, session) if session else None
    measure_with_bar(book, one, workers, scheduler=scheduler, again=again)
    phones = clips(book, one).groupby("session")["camera"].nunique()
    for several in phones.index[phones > 1]:
        fit_pairs(book, several, workers, scheduler=scheduler)


def sessions(logbook: Book) -> None:
    """List the sessions, newest first."""
    from release.record import read
    from release.record.write_open import open_logbook

    for row in read.session_counts(open_logbook(logbook)).to_dict("records"):
        states = ("waiting", "measured", "refused", "set aside")
        counted = ", ".join(f"{row[state]} {state}" for state in states if row[state]) or "no clips"
        typer.echo(f"{row['day']}  {row['name']}: {row['throws']} throws on the sheet; clips: {counted}")
