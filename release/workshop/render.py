"""Render throws with truth: `python -m release.workshop.render COMMAND --help`."""

import argparse
from pathlib import Path

import numpy as np

from release.landmarks.result import KINDS


def _bodies(args: argparse.Namespace) -> None:
    from release.workshop.bodies import bake, save
    from release.workshop.fingers import bake_grips

    people = bake(args.count, args.seed)
    args.out.parent.mkdir(parents=True, exist_ok=True)
    save(people, args.out)
    turns, balls = bake_grips(people, args.seed)
    np.savez_compressed(args.out.with_suffix(".grips.npz"), turns=turns, balls=balls)
    print(f"{args.count} bodies with {turns.shape[1]} grips each: {args.out}")


def _session(args: argparse.Namespace) -> None:
    from release.workshop.session import write_session

    write_session(
        args.bodies,
        args.out,
        args.seed,
        workers=args.workers,
        only=args.only,
        clips=args.part != "tables",
        tables=args.part != "clips",
    )
    print(f"session written: {args.out}")


def _clips(args: argparse.Namespace) -> None:
    from release.workshop.clips import Wanted, write_clips

    count = min(args.count, 2) if args.tiny else args.count
    wanted = Wanted(
        baked=args.bodies,
        out=args.out,
        seed=args.seed,
        cameras=args.cameras,
        throws=args.throws,
        kept_out=args.kept_out,
        tiny=args.tiny,
    )
    write_clips(wanted, count, args.workers)
    print(f"{count} pitchers, {args.throws} throws each, from {args.cameras} cameras: {args.out}")


def _sheet(args: argparse.Namespace) -> None:
    from release.workshop.contact import write_sheet

    write_sheet(args.bodies, args.out, args.seed, kind=args.kind)
    print(f"contact sheet: {args.out}")


def main() -> None:
    """Parse, one call, print."""
    parser = argparse.ArgumentParser(prog="python -m release.workshop.render", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    def command(name: str, run, text: str) -> argparse.ArgumentParser:
        own = commands.add_parser(name, help=text, description=text)
        own.add_argument("--out", type=Path, required=True, help="file or folder to write")
        own.add_argument("--seed", type=int, default=1, help="everything drawn follows from it")
        own.set_defaults(run=run)
        return own

    bodies = command("bodies", _bodies, "bake people and their grips (needs anny and torch)")
    bodies.add_argument("--count", type=int, default=140)
    for name, run, text in (
        ("session", _session, "the sample session"),
        ("clips", _clips, "random throws with truth"),
        ("sheet", _sheet, "a picture of training crops with their labels drawn on them"),
    ):
        own = command(name, run, text)
        own.add_argument("--bodies", type=Path, required=True, help="file that the bodies command wrote")
        own.add_argument("--workers", type=int, default=1, help="processes")
        if name == "session":
            own.add_argument("--only", type=int, nargs="+", help="render only these throws")
            own.add_argument("--part", choices=("all", "clips", "tables"), default="all")
        if name == "clips":
            own.add_argument("--count", type=int, default=60, help="pitchers")
            own.add_argument("--throws", type=int, default=1, help="of each pitcher, from the same place")
            own.add_argument("--cameras", type=int, default=1, help="2 or more film the same throw")
            own.add_argument("--kept-out", action="store_true", help="only people kept out of training")
            own.add_argument("--tiny", action="store_true", help="two small clips, to see that it runs")
        if name == "sheet":
            own.add_argument("--kind", choices=KINDS, default="hand")
    args = parser.parse_args()
    args.run(args)


if __name__ == "__main__":
    main()
