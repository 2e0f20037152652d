"""Commands that keep a logbook: backup, restore, verify, merge, conflicts, roster, due, forget."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from release.record.result import Fault
    from release.record.write_forget import Forgetting
    from release.record.write_merge import Merged
    from release.record.write_open import Logbook

TOLD = {  # table to what its rows are called
    "sessions": "sessions",
    "athletes": "athletes",
    "clips": "clips",
    "throws": "throws",
    "flights": "balls",
    "measurements": "measurements",
    "facts": "decisions",
    "notes": "notes",
}
Book = Annotated[Path, typer.Argument(help="The logbook's folder.")]


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    for command in (backup, restore, verify, merge, conflicts, roster, due, forget):
        app.command()(command)


def backup(
    logbook: Book,
    file: Annotated[Path, typer.Argument(help="A new file, on another disk if there is one.")],
) -> None:
    """Copy the whole logbook into one ZIP file, also while it is in use. Names are in it: keep it safe."""
    from release.record.write_backup import backup as make_backup
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    with _bar("copying", _bytes_of(book)) as told:
        made = make_backup(book, file, told)
    typer.echo(f"{file}: {made.clips} clips, {made.bytes / 1e6:.1f} MB")
    for what in made.missing:
        typer.echo(f"not in the copy as it was taken in: {what}. See `release verify`")
    raise typer.Exit(1 if made.missing else 0)


def restore(
    file: Annotated[Path, typer.Argument(help="What `release backup` wrote.")],
    logbook: Annotated[Path, typer.Argument(help="A new or empty folder.")],
    database: Annotated[str | None, typer.Option(help="An empty PostgreSQL database to fill.")] = None,
) -> None:
    """Bring a backup back as a logbook of its own, and check every clip, frame and reference in it."""
    from release.record.write_backup import restore as bring_back

    with _bar("checking", None) as told:
        book, wrong = bring_back(file, logbook, database, told)
    _tell_faults(book, wrong)


def verify(logbook: Book) -> None:
    """Read every clip and frame again, check that all that is named is there, and say how to mend it."""
    from release.record.read_verify import faults
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    with _bar("reading", _bytes_of(book)) as told:
        wrong = faults(book, told)
    _tell_faults(book, wrong)


def merge(
    logbook: Book,
    other: Annotated[Path, typer.Argument(help="The other logbook's folder; it stays as it is.")],
    who: Annotated[str, typer.Option(help="Who merges; stands beside each conflict.")] = "merge",
) -> None:
    """Bring in what another logbook holds: nothing lost, nothing twice, what disagrees is shown."""
    from release.record.read import session_names
    from release.record.write_merge import merge as bring_in
    from release.record.write_open import open_logbook

    book, source = open_logbook(logbook), open_logbook(other)
    with _bar("copying", _bytes_of(source)) as told:
        merged = bring_in(book, source, who=who, told=told)
    _tell_merged(merged, session_names(book))


def conflicts(
    logbook: Book,
    settled: Annotated[list[str], typer.Option(help="Id of one that is settled; may be repeated.")] = [],  # noqa: B006
    who: Annotated[str, typer.Option(help="Who says so.")] = "coach",
) -> None:
    """List what two logbooks said differently of the same thing, until a person calls it settled."""
    from release.errors import SettingUnknown
    from release.record.conflicts import in_words
    from release.record.read import facts, session_names
    from release.record.write import add_fact
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    names = session_names(book)
    still = {fact["fact"]: fact["value"] for fact in facts(book) if fact["kind"] == "merge conflict"}
    for fact in settled:
        if still.pop(fact, None) is None:
            raise SettingUnknown(f"no open conflict has the id {fact}. `release conflicts` lists them")
        add_fact(book, "undone", who=who, undoes=fact)
    for fact, value in still.items():
        typer.echo(f"{fact}: {in_words(value, names)}")
    typer.echo(f"open conflicts: {len(still)}")


def roster(
    logbook: Book,
    file: Annotated[
        Path | None, typer.Argument(help="A CSV to enter; without it the roster is shown.")
    ] = None,
    names: Annotated[bool, typer.Option("--names", help="Show names beside the codes.")] = False,
) -> None:
    """Enter athletes from a CSV, or list them.

    Columns: athlete, throws, age_band, consent, consent_day, keep_until, name; all but the first optional.
    An empty cell leaves what is there. Names lie in a table of their own that no export reads.
    """
    from release.record import read
    from release.record.read_roster import read_roster
    from release.record.write import set_athletes
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    if file is not None:
        found = read_roster(file)
        set_athletes(book, found.rows)
        typer.echo(f"{file.name}: {len(found.rows)} athletes entered, {len(found.set_aside)} rows set aside")
        for row in found.set_aside:
            typer.echo(f"row {row.row} ({row.key}): {row.why}")
    listed = read.roster(book, names=names).astype(object)
    for row in listed.where(listed.notna(), None).to_dict("records"):
        name = f" ({row['name']})" if names and row["name"] else ""
        consent = f"consent: {row['consent']}" if row["consent"] else "NO CONSENT YET"
        keep = f"keep until {row['keep_until']}" if row["keep_until"] else "no day to keep until"
        late = ", DUE: see `release due`" if row["due"] else ""
        band = row["age_band"] or "age not given"
        typer.echo(f"{row['athlete']}{name}: {band}, {consent}, {keep}{late}, {row['n_throws']} throws")


def due(logbook: Book) -> None:
    """List the clips whose athlete's day has come. Nothing is deleted: `release forget` does that."""
    from release.record.read_roster import due as due_clips
    from release.record.write_open import open_logbook

    found = due_clips(open_logbook(logbook))
    for row in found.itertuples():
        typer.echo(
            f"{row.athlete} (until {row.keep_until}): {row.clip}, session {row.session_name}, {row.day}"
        )
    codes = ", ".join(sorted(set(found["athlete"])))
    typer.echo(
        f"{len(found)} clips are due" + (f" (of {codes}): `release forget LOGBOOK CODE`" if codes else "")
    )


def forget(
    logbook: Book,
    athlete: Annotated[str, typer.Argument(help="The athlete's code.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask first.")] = False,
) -> None:
    """Remove an athlete and every trace: rows, clips, frames, name. Backups out of reach are named."""
    from release.record.write_forget import forget as remove
    from release.record.write_forget import what_is_known
    from release.record.write_open import open_logbook

    book = open_logbook(logbook)
    if not yes:
        _tell_known(what_is_known(book, athlete))
        typer.confirm("Remove all of this for good?", abort=True)
    gone = remove(book, athlete)
    typer.echo(
        f"{athlete} is forgotten: {gone.clips} clips, {gone.throws} throws, {gone.decisions} decisions"
    )
    for where in gone.mentioned:
        typer.echo(f"still named in a text of someone else's: {where}")
    for copy in gone.copies:
        typer.echo(f"out of reach, delete it or restore it, forget there and copy anew: {copy}")
    typer.echo("Reports and exports written earlier, and copies made by other means, are yours to delete.")


def _tell_known(known: "Forgetting") -> None:
    typer.echo(
        f"{known.athlete}: {known.throws} throws, {known.clips} clips with their frames, "
        f"{known.flights} balls, {known.decisions} decisions, {known.notes} notes, "
        f"{known.sessions} sessions of this athlete alone; "
        "also the copies in the logbook's own backups folder"
    )
    for name in known.unsure:
        typer.echo(f"may show this athlete, but no link tells; it is kept: {name}. Link it first")


def _tell_merged(merged: "Merged", names: "Mapping[str, str]") -> None:
    from release.record.conflicts import in_words

    new = ", ".join(f"{merged.new[name]} {word}" for name, word in TOLD.items() if merged.new.get(name))
    typer.echo(f"new here: {new or 'nothing'}")
    for name in merged.joined:
        typer.echo(f"begun on both, now one session: {name}")
    for name in merged.apart:
        typer.echo(f"kept apart, for they share no file and no clip: the sessions called {name}")
    for conflict in merged.conflicts:
        typer.echo(f"CONFLICT, both kept: {in_words(conflict, names)}. See `release conflicts`")
    for name in merged.link_again:
        typer.echo(f"linked differently on both, link it again: {name}")
    for name in merged.damaged:
        typer.echo(f"clip {name} is not whole there; add it from the phone")
    if merged.left_out:
        typer.echo(f"left out, as forgotten here: {merged.left_out} rows")
    for athlete in merged.forgotten_there:
        typer.echo(f"forgotten there and still here: {athlete}. See `release forget`")


def _tell_faults(book: "Logbook", wrong: "Sequence[Fault]") -> None:
    for fault in wrong:
        typer.echo(f"{'left over' if fault.harmless else 'WRONG'}: {fault.what}. To mend: {fault.mend}")
    grave = sum(not fault.harmless for fault in wrong)
    typer.echo(f"{book.folder}: {grave} wrong" if grave else f"{book.folder}: everything is there and whole")
    raise typer.Exit(1 if grave else 0)


def _bytes_of(book: "Logbook") -> int:
    from release.record import read

    return int(read.clips(book)["bytes"].sum())


@contextmanager
def _bar(what: str, total: int | None) -> Iterator[Callable[[int], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), DownloadColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(what, total=total)
        yield lambda n_bytes: progress.advance(task, n_bytes)
