"""Commands on the page: review, watch."""

from pathlib import Path

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(review)
    app.command()(watch)


def review(
    logbook: Path = typer.Argument(help="The logbook's folder; see `release new`."),
    port: int = typer.Option(8765, min=1024, max=65535, help="Where the page listens."),
    share: bool = typer.Option(False, help="Let other machines on this network reach it; needs both files."),
    cert: Path | None = typer.Option(None, help="TLS certificate (PEM) for --share."),
    key: Path | None = typer.Option(None, help="Its private key (PEM)."),
    cues: Path | None = typer.Option(
        None, help="The facility's cues, TOML: renamed ones are shown in their new words, with who says them."
    ),
) -> None:
    """Open the review page of a logbook; on this machine only, unless it is shared."""
    from functools import partial

    from release.page_steps import page_steps
    from release.record.write_open import open_logbook
    from release.suggest.read_words import read_words
    from release.views.web.serve import run

    book, words = open_logbook(logbook), read_words(cues) if cues else None
    steps = partial(page_steps, words)
    run(book, steps, typer.echo, port=port, shared=share, cert=cert, key=key, words=words)


def watch(
    logbook: Path = typer.Argument(help="The logbook's folder."),
    folder: Path = typer.Argument(help="Folder that clips, throw sheets and flight files are copied to."),
    session: str | None = typer.Option(None, help="Name of the session; today's without one."),
    camera: str = typer.Option("", help="Which phone, where there are several."),
) -> None:
    """Take in whatever is copied to a folder, as soon as it is whole, and measure it."""
    from release.record.write_open import open_logbook
    from release.watch import watch as watch_folder

    typer.echo(f"Watching {folder}. Stop with Ctrl-C.")
    watch_folder(open_logbook(logbook), folder, session=session, camera=camera, say=typer.echo)
