"""Commands on cameras: where one stands, and one throw filmed by two."""

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


def pair(
    first: Annotated[Path, typer.Argument(help="A clip of the throw.")],
    second: Annotated[Path, typer.Argument(help="A clip of the same throw by another phone.")],
    camera_first: Annotated[Path, typer.Option(help="The first phone's camera file, with marks.")],
    camera_second: Annotated[Path, typer.Option(help="The second phone's.")],
    capture_fps: Annotated[
        list[float] | None,
        typer.Option(help="Frames a second while filming; twice where the phones differ, the first's first."),
    ] = None,
    csv: Annotated[Path | None, typer.Option(help="Write every figure to this file, as look does.")] = None,
) -> None:
    """Measure one throw from two clips that nobody synchronised."""
    from release.orientation.write_look import write_look_csv
    from release.settings import settings_of
    from release.two_phones import measure_pair, pair_lines, pair_row

    rates = capture_fps or [None]
    if len(rates) > 2:
        raise typer.BadParameter("two phones have two capture rates at most", param_hint="--capture-fps")
    settings = (settings_of(capture_fps=rates[0]), settings_of(capture_fps=rates[-1]))
    measured = measure_pair((first, second), (camera_first, camera_second), settings)
    typer.echo("\n".join(pair_lines(measured)))
    if csv is not None:
        write_look_csv(csv, [pair_row(measured)])


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(camera)
    app.command()(pair)
