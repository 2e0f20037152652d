"""The command that finds where a camera stands."""

from pathlib import Path
from typing import Annotated

import typer


def camera(
    marks: Annotated[Path, typer.Argument(help="A camera.toml with the marks clicked.")],
    clip: Annotated[Path, typer.Option(help="The clip they were clicked in.")],
    frame: Annotated[int, typer.Option(help="The frame, counted from 0.")] = 0,
    close: Annotated[
        Path | None,
        typer.Option(
            help="A clip from the same tripod place, turned or zoomed: carry the camera over to it."
        ),
    ] = None,
    out: Annotated[Path, typer.Option(help="The camera file to write; its picture lies beside it.")] = Path(
        "camera.toml"
    ),
) -> None:
    """Find where the camera stands from marks on the field, and draw the field over the frame to check it."""
    from release.field_camera import solve_camera_file

    typer.echo("\n".join(solve_camera_file(marks, clip, frame=frame, close=close, out=out)))


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(camera)
