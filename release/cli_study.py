"""Commands on the study: compare, plan, live, relate, agreement, suggest."""

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
