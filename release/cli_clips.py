"""Commands on loose clips: look, film-check, accuracy, protractor, models, check."""

from pathlib import Path
from typing import Annotated

import typer


def check() -> None:
    """Tell whether this machine is ready: our models and MediaPipe's, whole by SHA-256."""
    from release.landmarks.read_models import readiness

    checks = readiness()
    for what, ready, remedy in checks:
        typer.echo(f"{'ok     ' if ready else 'missing'}  {what}{'' if ready else '  ' + remedy}")
    if not all(ready for _, ready, _ in checks):
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


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(check)
    models = typer.Typer(help="The landmark models.", no_args_is_help=True)
    models.callback()(lambda: None)  # keeps `fetch` a word of its own, though it is the only command
    models.command("fetch")(models_fetch)
    app.add_typer(models, name="models")
