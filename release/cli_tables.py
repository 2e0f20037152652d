"""Commands on plain tables: link, sheet, flight."""

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
