"""Commands on loose clips: look, film-check, accuracy, protractor, models, check."""

from pathlib import Path
from typing import Annotated

import typer


def check(
    workers: Annotated[int, typer.Option(min=1, help="Clips that are to be measured at once.")] = 2,
) -> None:
    """Tell whether this machine is ready: models, decoders, memory, disk; and how to mend what is wrong."""
    from release.machine import check_lines, machine_checks

    checks = machine_checks(workers)
    typer.echo("\n".join(check_lines(checks)))
    if not all(check.ready for check in checks if check.needed):
        raise typer.Exit(1)


def models_fetch(
    source: Annotated[
        Path | None,
        typer.Option(
            "--from", help="Folder with the four .tflite files, or the wheel, instead of a network."
        ),
    ] = None,
) -> None:
    """Fetch MediaPipe's published models, which give the second opinion; each is checked by SHA-256."""
    from release.landmarks.read_models import fetch_models

    for path in fetch_models(source):
        typer.echo(f"ok  {path}")


def look(
    clips: Annotated[list[str], typer.Argument(help="Clips, folders of clips, or addresses of clips.")],
    csv: Annotated[Path | None, typer.Option(help="Write every figure to this file.")] = None,
    view: Annotated[
        str | None,
        typer.Option(help="Where the camera stands: behind, open side, closed side or front."),
    ] = None,
    camera: Annotated[Path | None, typer.Option(help="A camera.toml with marks.")] = None,
    slowdown: Annotated[float | None, typer.Option(help="How many times the files play slowed.")] = None,
    capture_fps: Annotated[float | None, typer.Option(help="Frames a second while filming.")] = None,
    release_frame: Annotated[
        float | None, typer.Option(help="The release, chosen by hand: frame counted from 0.")
    ] = None,
    throws: Annotated[
        str | None, typer.Option(help="The throwing arm, R or L, where it is not plain.")
    ] = None,
) -> None:
    """Measure forearm and wrist at ball release in loose clips."""
    from release.errors import ReleaseError
    from release.look import looked_at
    from release.orientation.write_look import write_look_csv
    from release.record.write_clips import clips_in
    from release.settings import settings_of
    from release.store import is_address

    settings = settings_of(
        view=view,
        camera=camera,
        slowdown=slowdown,
        capture_fps=capture_fps,
        release_frame=release_frame,
        throws=throws,
    )
    seen, found = [], [clip if is_address(clip) else Path(clip) for clip in clips_in(clips)]
    if not found:
        raise ReleaseError(f"no video in {', '.join(map(str, clips))}")
    for one in looked_at(found, settings):
        typer.echo("\n".join(one.lines))
        seen.append(one)
    if csv is not None:
        write_look_csv(csv, [one.row for one in seen])
    if not all(one.read for one in seen):
        raise typer.Exit(1)


def film_check(
    clip: Annotated[Path, typer.Argument(help="One trial throw, filmed as the session will be.")],
    slowdown: Annotated[float | None, typer.Option(help="How many times the file plays slowed.")] = None,
    capture_fps: Annotated[float | None, typer.Option(help="Frames a second while filming.")] = None,
) -> None:
    """Tell before a session whether camera place, framing, rate and shutter will do."""
    from release import film_check as check
    from release.settings import settings_of

    settings = settings_of(slowdown=slowdown, capture_fps=capture_fps)
    typer.echo("\n".join(check.film_check(clip, settings)))


def accuracy(
    folder: Annotated[Path, typer.Argument(help="Clips with NAME.truth.json beside them.")],
    csv: Annotated[Path | None, typer.Option(help="Also write what was measured, as look does.")] = None,
    view: Annotated[str | None, typer.Option(help="As for look; the same for every clip.")] = None,
) -> None:
    """Measure clips whose truth is known, and print how far off the answers are."""
    from rich.progress import track

    from release.accuracy import measured_folder, scored
    from release.look import row_of
    from release.orientation.score_text import score_lines
    from release.orientation.write_look import write_look_csv
    from release.settings import settings_of

    truths, measured = measured_folder(folder, settings_of(view=view))
    done = list(track(measured, description="Measuring", total=len(truths), transient=True))
    result = scored(done)
    if csv is not None:
        write_look_csv(csv, [row_of(m) for _, m in done])
    typer.echo("\n".join(score_lines(result)))


def protractor(
    table: Annotated[
        Path | None, typer.Argument(help="CSV of clips held at known angles: clip, throws, NAME_deg.")
    ] = None,
    card: Annotated[Path | None, typer.Option(help="Write the printable card here, .pdf or .svg.")] = None,
) -> None:
    """Check the tool on your own camera: print a card, film held angles, learn bias and scatter."""
    from release.protractor import protractor_lines, write_card

    if table is None and card is None:
        raise typer.BadParameter("name a table of held angles, or --card FILE to print the card")
    if card is not None:
        write_card(card)
        typer.echo(f"card written: {card}")
    if table is not None:
        typer.echo("\n".join(protractor_lines(table)))


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(look)
    app.command()(accuracy)
    app.command()(film_check)
    app.command()(check)
    app.command()(protractor)
    models = typer.Typer(help="The landmark models.", no_args_is_help=True)
    models.callback()(lambda: None)  # keeps `fetch` a word of its own, though it is the only command
    models.command("fetch")(models_fetch)
    app.add_typer(models, name="models")
