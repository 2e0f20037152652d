"""Commands on the logbook: new, add, measure, report, export, verify, backup and the like."""

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
