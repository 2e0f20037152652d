"""The research export: of a logbook, or of a table of throws."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from release.arm_over_time import ArmOverTime
from release.clip_settings import settings_for
from release.logbook import linked_table
from release.measured_again import measured_again
from release.orientation.chain import CHAIN_POINTS
from release.record import read
from release.record.write_open import Logbook
from release.session.read_plan import read_plan
from release.session.result import Plan
from release.session_report import plan_of_session
from release.stats.compare import Settings, compare
from release.stats.read_throws import read_throws, throw_table
from release.stats.write_export import write_export
from release.stats.write_over_time import write_over_time

OVER_TIME = "over_time"
NOT_EXPORTED = ["session_name", "created", "clip_athlete", "measurement"]


def export_table(table: Path, out: Path, settings: Settings, design: Path | None = None) -> str:
    """Export a table of throws with its comparisons.

    Args:
        table: As `compare` reads it.
        out: Folder to write to.
        settings: Main outcome and smallest changes worth having.
        design: plan.toml.

    Returns:
        The SHA-256 under which the export is frozen.
    """
    throws = read_throws(table)
    settings = replace(settings, plan=read_plan(design) if design else None)
    found = compare(throws.rows, throws.figures, settings)
    said = {"release": version("release"), "table": table.name} | ({"plan": design.name} if design else {})
    return write_export(out, throws.rows, found, said)


def export_logbook(
    logbook: Logbook,
    session: str | None,
    out: Path,
    settings: Settings = Settings(),
    *,
    over_time: bool = False,
    workers: int = 2,
    progress: Callable[[int], None] = lambda _of: None,
) -> str:
    """Export the throws of one session, or of all, with their comparisons.

    Args:
        logbook: Where.
        session: Its id; None for all, whose plan is used where they share one.
        out: Folder to write to.
        settings: Main outcome and smallest changes worth having; without a plan the sessions' own holds.
        over_time: Also landmarks and angles over time. The logbook keeps the arm at release only, so every
            linked clip is measured again, as corrected and by itself, which takes seconds each.
        workers: Clips measured at once.
        progress: Called after each clip with how many there are.

    Returns:
        The SHA-256 under which the export is frozen.
    """
    rows = linked_table(logbook, session)
    rows = rows.drop(columns=[c for c in NOT_EXPORTED if c in rows])
    if over_time:
        rows[OVER_TIME] = rows["clip"].map(_write_arms(logbook, rows, out, workers, progress))
    throws = throw_table(rows.rename(columns={"clip": "clip_sha256", "clip_name": "clip"}))
    if settings.plan is None:
        settings = replace(settings, plan=_shared_plan(logbook, rows["session"].unique()))
    found = compare(throws.rows, throws.figures, settings)
    return write_export(out, throws.rows, found, _said(logbook, session, settings))


def _shared_plan(logbook: Logbook, sessions: Iterable[str]) -> Plan | None:
    """The plan that was kept with every one of the sessions."""
    plans = {plan_of_session(logbook, session) for session in sessions}
    return plans.pop() if len(plans) == 1 else None


def _write_arms(
    logbook: Logbook, rows: pd.DataFrame, out: Path, workers: int, progress: Callable[[int], None]
) -> dict[str, str]:
    """A netCDF file for each measured clip of the table; clip hash to the file's place in the export."""
    (out / OVER_TIME).mkdir(parents=True, exist_ok=True)
    wanted = rows[rows["release_frame"].notna()].drop_duplicates("clip").set_index("clip")
    session = read.clips(logbook).set_index("sha256")["session"]
    asked = {
        str(sha256): replace(settings_for(logbook, session[sha256], str(sha256))[0], partner=None)
        for sha256 in wanted.index
    }
    files = {}
    for sha256, measured in measured_again(logbook, asked, workers, progress):
        if measured.over_time is None:
            continue
        files[sha256] = f"{OVER_TIME}/{sha256[:16]}.nc"
        slowdown = measured.clip.time_base.slowdown
        said = {"athlete": str(wanted.loc[sha256, "athlete"]), "clip_sha256": sha256}
        said["time_base"] = "known" if slowdown is not None else "guessed from the speed of the hand"
        _write_arm(out / files[sha256], measured.over_time, said)
    return files


def _write_arm(path: Path, arm: ArmOverTime, said: Mapping[str, str]) -> None:
    fps = round(float(1 / np.median(np.diff(arm.time_s))), 3)
    write_over_time(path, arm.time_s, arm.points_px, CHAIN_POINTS, arm.angles_deg, {**said, "fps": fps})


def _said(logbook: Logbook, session: str | None, settings: Settings) -> dict[str, str]:
    """What the methods name: versions, models, how the cues were drawn."""
    clips = read.clips(logbook, session)
    models: dict[str, str] = {}
    for one in clips["session"].unique():
        for answer in read.measurements(logbook, one).values():
            models |= {f"model {name}": digest[:16] for name, digest in answer["models"].items()}
    said = {"release": version("release"), "sessions": str(clips["session"].nunique())}
    said |= {"clips": str(len(clips)), **models}
    if plan := settings.plan:
        said["plan"] = f"{len(plan.order)} {plan.unit}s drawn with seed {plan.seed}"
    return said
