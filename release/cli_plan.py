"""Commands before and between throws: plan, live."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from release.cli_study import Cues, Earlier


def register(app: typer.Typer) -> None:
    """Add this module's commands to the command line."""
    app.command()(plan)
    app.command()(live)


def plan(
    folder: Annotated[Path, typer.Argument(help="Where plan.toml and sheet.csv go.")],
    cue: Cues,
    throws: Annotated[int, typer.Option(help="Throws each athlete has for each pitch.")] = 16,
    unit: Annotated[Literal["block", "throw"], typer.Option(help="What is drawn.")] = "block",
    block_throws: Annotated[int, typer.Option(help="Throws a block, or a session with --over-sessions.")] = 2,
    longest_run: Annotated[int | None, typer.Option(help="Most units in a row with one cue.")] = None,
    over_sessions: Annotated[
        bool, typer.Option(help="Each block is a session: for a grip that cannot be alternated.")
    ] = False,
    athlete: Annotated[
        list[str], typer.Option(help="Code for the throw sheet; may be repeated: each gets a draw.")
    ] = [""],  # noqa: B006
    pitch: Annotated[
        list[str], typer.Option(help="Pitch for the throw sheet; may be repeated: each gets a draw.")
    ] = [""],  # noqa: B006
    main: Annotated[str | None, typer.Option(help="The one figure named beforehand.")] = None,
    worth: Annotated[
        list[str] | None, typer.Option(help="Smallest change worth having, FIGURE=NUMBER; may be repeated.")
    ] = None,
    throw_sd: Annotated[
        float, typer.Option(help="SD from throw to throw in the main figure, when --earlier tells none.")
    ] = 5.0,
    earlier: Earlier = None,
    seed: Annotated[int | None, typer.Option(help="Of the draw; else one is drawn too.")] = None,
) -> None:
    """Draw the order of cues for a session; say beforehand what it can show."""
    import secrets
    from itertools import product

    from release.stats.change import USUAL_NOISE
    from release.stats.earlier import noise_of_table
    from release.stats.plan import plan_session
    from release.stats.read_throws import read_throws
    from release.stats.sentences import numbers_by_name, plan_lines
    from release.stats.write_plan import write_plan

    athlete, pitch = list(dict.fromkeys(athlete)), list(dict.fromkeys(pitch))
    drawn = plan_session(
        cue,
        throws,
        unit=unit,
        block_throws=block_throws,
        longest_run=longest_run,
        seed=secrets.randbelow(2**31) if seed is None else seed,
        main_outcome=main,
        worth=numbers_by_name(worth or []),
        groups=len(athlete) * len(pitch),
    )
    write_plan(drawn, folder, athletes=athlete, pitches=pitch, sessions=over_sessions)
    known = read_throws(earlier) if earlier else None
    noise = {
        f"{who} {what}".strip() or "drawn": noise_of_table(known, who, what, main) if known else USUAL_NOISE
        for who, what in product(athlete, pitch)
    }
    for line in plan_lines(drawn, throw_sd, noise):
        typer.echo(line)
    typer.echo(f"wrote {folder / 'plan.toml'} and {folder / 'sheet.csv'}")


def live(
    cue: Cues,
    figure: Annotated[str, typer.Option(help="The figure watched.")],
    logbook: Annotated[
        Path | None, typer.Argument(help="A logbook, which keeps the draw; in place of --table.")
    ] = None,
    session: Annotated[str | None, typer.Option(help="The logbook's session; else today's.")] = None,
    athlete: Annotated[str | None, typer.Option(help="In a logbook: whose throws.")] = None,
    pitch: Annotated[str | None, typer.Option(help="In a logbook: of which pitch.")] = None,
    table: Annotated[Path | None, typer.Option(help="Throws so far, as for compare.")] = None,
    seed: Annotated[
        int | None, typer.Option(help="Of the draw. A new one is drawn and told; a table needs it again.")
    ] = None,
    worth: Annotated[float | None, typer.Option(help="Smallest change worth having.")] = None,
    earlier: Earlier = None,
    chart: Annotated[Path | None, typer.Option(help="SVG to write: the sequence narrowing by throw.")] = None,
) -> None:
    """Draw the next cue, and say what is known so far; look as often as you like, stop when you like.

    Throws come in pairs with both cues, in an order drawn by a coin; a pair thrown otherwise is left out. A
    logbook keeps the seed and knows the athlete's earlier sessions. Without one, the first call draws the
    seed and each later call names it.
    """
    from release.live_draw import live_in_logbook, live_in_table
    from release.record.write_open import open_logbook
    from release.stats.read_throws import read_throws
    from release.stats.sentences import live_lines

    if logbook is None:
        known = read_throws(earlier) if earlier else None
        found = live_in_table(
            read_throws(table) if table else None, cue, figure, seed=seed, worth=worth, earlier=known
        )
    else:
        if table is not None or earlier is not None or not athlete or not pitch:
            raise typer.BadParameter(
                "with a logbook name --athlete and --pitch; it takes the place of tables"
            )
        found = live_in_logbook(
            open_logbook(logbook), session, athlete, pitch, cue, figure, seed=seed, worth=worth
        )
    for line in live_lines(found):
        typer.echo(line)
    if chart and found.steps:
        from release.views.figures_study import live_sequence

        chart.write_text(live_sequence(found.steps, found.figure, found.worth), encoding="utf-8")
