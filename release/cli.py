"""The command line: each command parses, calls the library once, and prints."""

import sys

import typer

from release import (
    cli_camera,
    cli_clips,
    cli_keep,
    cli_logbook,
    cli_page,
    cli_plan,
    cli_session,
    cli_study,
    cli_suggest,
    cli_tables,
)
from release.errors import ReleaseError

app = typer.Typer(
    name="release",
    help="Forearm and wrist at ball release, from slow-motion clips, tied to the ball's movement.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for commands in (
    cli_session,
    cli_clips,
    cli_camera,
    cli_tables,
    cli_plan,
    cli_study,
    cli_suggest,
    cli_logbook,
    cli_keep,
    cli_page,
):
    commands.register(app)


def main() -> None:
    """Run the command line; an error that a user can mend is one line, without a traceback."""
    try:
        app()
    except ReleaseError as error:
        print(f"release: {error}", file=sys.stderr)
        sys.exit(1)


if __name__ == "__main__":
    main()
