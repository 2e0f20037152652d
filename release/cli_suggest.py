"""Commands on what to say next: suggest, note, grip-photo, rename, side-by-side."""

from pathlib import Path
from typing import Annotated, Literal

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(suggest)
    app.command()(note)
    app.command("grip-photo")(grip_photo)
    app.command()(rename)
    app.command("side-by-side")(side_by_side)


def suggest(
    athlete: Annotated[str, typer.Option(help="The athlete's code.")],
    pitch: Annotated[str, typer.Option(help="The pitch.")],
    table: Annotated[
        Path | None, typer.Option(help="Throws: throws.csv of a report, or any table as for compare.")
    ] = None,
    logbook: Annotated[
        Path | None, typer.Option(help="A logbook in place of a table; it keeps the wanted ball.")
    ] = None,
    target: Annotated[Path | None, typer.Option(help="TOML of wanted balls, [[targets]].")] = None,
    best_throw: Annotated[
        list[int] | None, typer.Option(help="A throw as wanted; name three or more instead of --target.")
    ] = None,
    cues: Annotated[Path | None, typer.Option(help="The facility's cues and shape words, TOML.")] = None,
    usual: Annotated[
        str | None, typer.Option(help="The cue that counts as the usual, where every throw was cued.")
    ] = None,
    throws_left: Annotated[int | None, typer.Option(help="Throws left in today's plan.")] = None,
    out: Annotated[Path, typer.Option(help="Folder for the pitcher's page.")] = Path("reports/pitchers"),
    pdf: Annotated[bool, typer.Option("--pdf", help="Also write the page as a PDF to print.")] = False,
    metric: Annotated[bool, typer.Option("--metric", help="cm and km/h on the page.")] = False,
) -> None:
    """What could be tried next with one pitcher's pitch; options with their evidence, never orders."""
    from release.advise_page import Asked, advise_and_write
    from release.advise_source import read_source
    from release.record.write_open import open_logbook
    from release.suggest.read_targets import read_targets
    from release.suggest.read_words import read_words
    from release.suggest.sentences import advice_lines
    from release.talk import keep_target

    source = read_source(table, logbook, athlete)
    asked = Asked(
        athlete=athlete,
        pitch=pitch,
        words=read_words(cues),
        target=(read_targets(target) if target else {}).get((athlete, pitch), source.targets.get(pitch)),
        best_throws=best_throw or (),
        usual=usual,
        throws_left=throws_left,
    )
    advice, lasting, files = advise_and_write(
        source.throws, asked, out, pdf=pdf, notes=source.notes, photos=source.photos, metric=metric
    )
    if logbook and advice.target:
        keep_target(open_logbook(logbook), athlete, pitch, advice.target, who="coach")
    said = [f"{when}, {kind}: {text}" for when, kind, text in source.notes]
    for line in [*advice_lines(advice), *lasting, *said, *(f"wrote {file}" for file in files)]:
        typer.echo(line)


def note(
    logbook: Annotated[Path, typer.Argument(help="The logbook's folder.")],
    athlete: Annotated[str, typer.Argument(help="The athlete's code.")],
    text: Annotated[str, typer.Argument(help="As said.")],
    kind: Annotated[
        Literal["words", "decision", "next"],
        typer.Option(help="The athlete's own words, the coach's decision, or the note for next time."),
    ],
    who: Annotated[str, typer.Option(help="Who writes it down.")] = "coach",
    session: Annotated[str | None, typer.Option(help="Name of the session; else the newest.")] = None,
    throw: Annotated[int | None, typer.Option(help="The throw that it is about.")] = None,
) -> None:
    """Keep what was said or decided; it is shown when the athlete is next opened."""
    from release.record.write_open import open_logbook
    from release.talk import keep_note

    keep_note(open_logbook(logbook), athlete, text, kind=kind, who=who, session=session, throw=throw)
    typer.echo(f"kept for {athlete}")


def grip_photo(
    logbook: Annotated[Path, typer.Argument(help="The logbook's folder.")],
    athlete: Annotated[str, typer.Argument(help="The athlete's code.")],
    photo: Annotated[Path, typer.Argument(help="A picture of hand and ball; it is shown as it is.")],
    pitch: Annotated[str, typer.Option(help="The pitch that is held so.")],
    throw: Annotated[int | None, typer.Option(help="The throw that it belongs to.")] = None,
    note: Annotated[str, typer.Option(help="What is to be seen in it.")] = "",
    who: Annotated[str, typer.Option(help="Who keeps it.")] = "coach",
) -> None:
    """Keep a photo of a grip, without place, time or device; it is shown on the pitcher's page."""
    from release.grip_photo import keep_photo
    from release.record.write_open import open_logbook

    name = keep_photo(open_logbook(logbook), athlete, photo, pitch=pitch, throw=throw, note=note, who=who)
    typer.echo(f"kept for {athlete} as {name}")


def rename(
    cues: Annotated[Path, typer.Argument(help="The facility's cues and shape words, TOML; made if missing.")],
    old: Annotated[str, typer.Argument(help="The wording so far.")],
    new: Annotated[str, typer.Argument(help="The wording from now on; one already in use merges the two.")],
    of: Annotated[
        Literal["cue", "grip_seams", "grip_offset"], typer.Option(help="Whose words they are.")
    ] = "cue",
) -> None:
    """Rename a cue or a grip, or merge two; the throws keep the words as said and are read in the new."""
    from release.suggest.write_words import write_rename

    write_rename(cues, of=of, old=old, new=new)
    typer.echo(f"“{old}” is read as “{new}” wherever --cues {cues} is given")


def side_by_side(
    first: Annotated[Path, typer.Argument(help="Clip shown on the left.")],
    second: Annotated[Path, typer.Argument(help="Clip shown on the right.")],
    out: Annotated[Path, typer.Option(help="NAME.mp4 for a clip, NAME.jpg or NAME.png for a picture.")],
    left: Annotated[str, typer.Option(help="What stands above the first.")] = "first",
    right: Annotated[str, typer.Option(help="What stands above the second.")] = "second",
    first_frame: Annotated[
        float | None, typer.Option(help="Release frame of the first, chosen by eye.")
    ] = None,
    second_frame: Annotated[float | None, typer.Option(help="Release frame of the second.")] = None,
) -> None:
    """Two release moments beside each other for the athlete to keep; all but hand and forearm made coarse."""
    from release.side_by_side import side_by_side as write

    write((first, second), out, captions=(left, right), release_frames=(first_frame, second_frame))
    typer.echo(f"wrote {out}")
