"""Commands on the study: compare, plan, live, relate, agreement, suggest."""

from pathlib import Path
from typing import Annotated

import typer

Table = Annotated[Path, typer.Option(help="CSV: athlete, pitch, throw, cue, block, figures, FIGURE_sd.")]


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(compare)


def compare(
    table: Table,
    csv: Annotated[Path, typer.Option(help="Where the comparisons go, a row each.")],
    design: Annotated[Path | None, typer.Option(help="plan.toml: how the cues were drawn.")] = None,
    main: Annotated[str | None, typer.Option(help="The figure named before the session.")] = None,
    worth: Annotated[
        list[str] | None, typer.Option(help="Smallest change worth having, FIGURE=NUMBER; may be repeated.")
    ] = None,
    earlier: Annotated[
        Path | None, typer.Option(help="Table of the athletes' earlier sessions: how their throws scatter.")
    ] = None,
) -> None:
    """Did the cue change the figure? Second cue minus first, tested as the cues were drawn.

    Answers: changed, no meaningful change, cannot tell yet, design too small.
    """
    from release.session.read_plan import read_plan
    from release.stats.compare import Settings
    from release.stats.compare import compare as compare_table
    from release.stats.read_throws import read_throws
    from release.stats.sentences import comparison_lines, numbers_by_name
    from release.stats.write_comparisons import write_comparisons

    throws = read_throws(table)
    settings = Settings(
        plan=read_plan(design) if design else None,
        main=main,
        worth=numbers_by_name(worth or []),
    )
    found = compare_table(throws.rows, throws.figures, settings)
    write_comparisons(found, csv)
    for line in comparison_lines(found, throws.notes):
        typer.echo(line)
    typer.echo(f"wrote {len(found)} comparisons to {csv}")
