"""Commands on a whole session of plain files: report, demo."""

from pathlib import Path

import typer

SAMPLE = Path("sample_clips")


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(report)
    app.command()(demo)


def report(
    clips: list[Path] = typer.Argument(help="The session's clips, or a folder of them."),
    sheet: Path = typer.Option(..., help="Throw sheet, in the order thrown."),
    flight: Path | None = typer.Option(None, help="Flight file."),
    mapping: Path | None = typer.Option(None, help="Mapping for the flight unit's own columns and units."),
    plan: Path | None = typer.Option(None, help="plan.toml: how the cues were drawn."),
    out: Path = typer.Option(Path("reports/session"), help="Folder to write the report to."),
    title: str = typer.Option("Session", help="What the report is called."),
    time_zone: str = typer.Option("", help="Zone of times without one: America/Chicago."),
    workers: int = typer.Option(2, min=1, help="Clips measured at once."),
) -> None:
    """Measure a session's clips, link them with sheet and flight file, compare the cues, write the report."""
    from release.session_report import SessionFiles

    files = SessionFiles(
        clips=_clip_files(clips), sheet=sheet, flight=flight, mapping=mapping, plan=plan, time_zone=time_zone
    )
    _run(files, out, title, workers)


def demo(
    out: Path = typer.Option(Path("reports/demo"), help="Folder to write the report to."),
    workers: int = typer.Option(2, min=1, help="Clips measured at once."),
) -> None:
    """Measure the sample session of a checkout and write its report."""
    from release.errors import ModelsNotFetched, SampleMissing
    from release.landmarks.read_models import fetch_models
    from release.session_report import SessionFiles

    if not (SAMPLE / "sheet.csv").is_file():
        raise SampleMissing(SAMPLE)
    try:
        fetch_models()
    except ModelsNotFetched as error:  # our own networks do without
        typer.echo(f"going on without a second opinion: {error}")
    files = SessionFiles(
        clips=_clip_files([SAMPLE]),
        sheet=SAMPLE / "sheet.csv",
        flight=SAMPLE / "flight.csv",
        plan=SAMPLE / "plan.toml",
    )
    _run(files, out, "Sample session in an invented training barn", workers)


def _clip_files(given: list[Path]) -> list[Path]:
    found: list[Path] = []
    for path in given:
        inside = (
            sorted(p for p in path.iterdir() if p.suffix.lower() in (".mp4", ".mov"))
            if path.is_dir()
            else [path]
        )
        found += inside
    return found


def _run(files, out: Path, title: str, workers: int) -> None:
    from rich.progress import Progress

    from release.session_report import measure_files, write_session_report

    with Progress() as bar:
        task = bar.add_task("measuring clips", total=len(files.clips))
        measured = measure_files(files.clips, workers, lambda _: bar.advance(task))
    for one in measured:
        if one.why is not None:
            typer.echo(f"set aside: {one.path.name}: {one.why}")
    typer.echo(f"report: {write_session_report(files, measured, out, title)}")
