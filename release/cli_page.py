"""Commands on the page: review, watch."""

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
