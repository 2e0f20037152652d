"""Commands on what to say next: suggest, side-by-side, note."""

from pathlib import Path
from typing import Annotated

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(suggest)
    app.command("side-by-side")(side_by_side)


def suggest(
    table: Annotated[Path, typer.Option(help="Throws: throws.csv of a report, or any table as for compare.")],
    athlete: Annotated[str, typer.Option(help="The athlete's code.")],
    pitch: Annotated[str, typer.Option(help="The pitch.")],
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
    from release.stats.read_throws import read_throws
    from release.suggest.read_targets import read_targets
    from release.suggest.read_words import read_words
    from release.suggest.sentences import advice_lines

    asked = Asked(
        athlete=athlete,
        pitch=pitch,
        words=read_words(cues),
        target=read_targets(target).get((athlete, pitch)) if target else None,
        best_throws=best_throw or (),
        usual=usual,
        throws_left=throws_left,
    )
    advice, lasting, files = advise_and_write(read_throws(table), asked, out, pdf=pdf, metric=metric)
    for line in [*advice_lines(advice), *lasting, *(f"wrote {file}" for file in files)]:
        typer.echo(line)


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
