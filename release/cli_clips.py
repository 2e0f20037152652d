"""Commands on loose clips: look, film-check, accuracy, protractor, models, check."""

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
