"""The main job on plain files: measure clips, link them with sheet and flight file, compare, report."""

import csv
import io
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from release.errors import ReleaseError
from release.look import row_of
from release.orientation.result import ANGLES
from release.orientation.write_look import write_look_csv
from release.pipeline import Settings, ThrowMeasurement, measure_clip
from release.session.read_files import LinkedFiles, link_files
from release.session.read_plan import read_plan
from release.stats.compare import Settings as CompareSettings
from release.stats.compare import compare
from release.stats.read_throws import read_throws
from release.stats.write_comparisons import comparison_table
from release.views.figures_links import links_figure
from release.views.report import build_report
from release.views.result import ArmDrawing, Refusal, ReleasePicture
from release.views.write import write_report

NOT_CHECKED = (
    "Nothing here has been checked on film yet: the networks learnt from rendered throws, and this version "
    "still misreads some hands by more than the stated interval. Look at each release frame before you "
    "believe an angle."
)
BALL = ("speed_mph", "induced_vertical_break_in", "horizontal_break_in", "spin_rpm", "spin_efficiency")


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFiles:
    """What staff drop in."""

    clips: Sequence[Path]
    sheet: Path
    flight: Path | None = None
    mapping: Path | None = None
    plan: Path | None = None
    time_zone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredFile:
    """One clip's outcome: a measurement, or why the file could not be read."""

    path: Path
    measured: ThrowMeasurement | None
    why: str | None


def measure_files(
    clips: Sequence[Path], workers: int, progress: Callable[[Path], None] = lambda _: None
) -> list[MeasuredFile]:
    """Measure each clip, several at once; a file that cannot be read is set aside with its reason."""
    found = []
    with ProcessPoolExecutor(workers) as pool:
        for one in pool.map(_measured, clips):
            progress(one.path)
            found.append(one)
    return found


def _measured(path: Path) -> MeasuredFile:
    try:
        measured = measure_clip(path, Settings())
    except ReleaseError as error:
        return MeasuredFile(path=path, measured=None, why=str(error))
    return MeasuredFile(path=path, measured=measured, why=measured.refused)


def write_session_report(
    files: SessionFiles, measured: Sequence[MeasuredFile], out: Path, title: str
) -> Path:
    """Link, compare and report one measured session.

    Args:
        files: The session's files.
        measured: Its clips, measured.
        out: A folder: the report as index.html; beside it look.csv, clips.csv and throws.csv.
        title: What the report is called.

    Returns:
        The report.

    Raises:
        ReleaseError: A table cannot be read at all; single bad rows are set aside and listed.
    """
    out.mkdir(parents=True, exist_ok=True)
    write_look_csv(out / "look.csv", [row_of(m.measured) for m in measured if m.measured is not None])
    usable = {m.path.name: m.measured for m in measured if m.measured is not None and m.why is None}
    _write_clips(out / "clips.csv", usable)
    linked = link_files(
        clips=out / "clips.csv",
        sheet=files.sheet,
        flights=[files.flight] if files.flight else [],
        mapping=files.mapping,
        time_zone=files.time_zone,
    )
    table = throws_table(usable, linked)
    plan = read_plan(files.plan) if files.plan else None
    table.to_csv(out / "throws.csv", index=False)
    throws = read_throws(out / "throws.csv")
    compared = comparison_table(compare(throws.rows, throws.figures, CompareSettings(plan=plan)))
    drawing = io.StringIO()
    links_figure(linked.session).savefig(drawing, format="svg", metadata={"Date": None})
    svg = drawing.getvalue()
    report = build_report(
        table,
        title=title,
        comparisons=compared,
        pictures=_pictures(table, usable),
        refusals=_refusals(measured, usable, linked),
        notes=(NOT_CHECKED, *linked.notes),
        session_svg=svg[svg.index("<svg") :],
        facts=_facts(files, usable),
        main_outcome=plan.main_outcome if plan else None,
    )
    write_report(report, out / "index.html")
    return out / "index.html"


def throws_table(usable: dict[str, ThrowMeasurement], linked: LinkedFiles) -> pd.DataFrame:
    """One row a throw of the sheet, with the hand of its clip and the ball of its flight where linked."""
    sheet = linked.tables["throw"].set_index("throw")
    flights = linked.tables.get("flight", pd.DataFrame({"flight": []})).set_index("flight")
    of_throw = {row.throw: row for row in linked.session.rows if row.state == "linked" and row.throw}
    rows = []
    for throw, said in sheet.iterrows():
        link = of_throw.get(str(throw))
        row = {k: said.get(k) for k in ("athlete", "pitch", "cue", "block")} | {"throw": int(str(throw))}
        row["clip"] = link.clip if link and link.clip in usable else None
        if row["clip"] is not None:
            row |= _hand(usable[row["clip"]])
        if link and link.flight in flights.index:
            row |= {name: flights.loc[link.flight].get(name, np.nan) for name in BALL}
        rows.append(row)
    return pd.DataFrame(rows)


def _hand(measured: ThrowMeasurement) -> dict[str, float]:
    if measured.orientation is None:
        return {}
    found = {}
    for name in ANGLES:
        one = measured.orientation.figures[name]
        if one.value is not None and one.sd is not None:
            found[f"{name}_deg"], found[f"{name}_deg_sd"] = one.value, one.sd
    return found


def _write_clips(path: Path, usable: dict[str, ThrowMeasurement]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["clip", "camera", "time", "throws"])
        for name, m in usable.items():
            created = m.clip.created.isoformat() if m.clip.created else ""
            writer.writerow([name, "", created, m.throws or ""])


def _pictures(table: pd.DataFrame, usable: dict[str, ThrowMeasurement]) -> list[ReleasePicture]:
    found = []
    for row in table.to_dict("records"):
        measured = usable.get(str(row["clip"]))
        if measured is None or measured.picture is None:
            continue
        drawing = ArmDrawing(points_px=measured.points_px, points_sd_px={})
        found.append(
            ReleasePicture(
                athlete=str(row["athlete"]),
                pitch=str(row["pitch"]),
                throw=int(row["throw"]),
                cue=str(row["cue"] or ""),
                image=measured.picture,
                drawing=drawing,
                flags=measured.orientation.flagged if measured.orientation else (),
            )
        )
    return found


def _refusals(
    measured: Sequence[MeasuredFile], usable: dict[str, ThrowMeasurement], linked: LinkedFiles
) -> list[Refusal]:
    found = [Refusal(what=f"clip {m.path.name}", why=m.why) for m in measured if m.why is not None]
    for row in linked.session.rows:
        if row.state != "linked":
            names = [("clip", row.clip), ("throw", row.throw), ("flight", row.flight)]
            what = ", ".join(f"{kind} {name}" for kind, name in names if name)
            found.append(Refusal(what=what, why=f"not linked: {row.why}"))
    for kind, rows in linked.set_aside.items():
        found += [Refusal(what=f"{kind} row {r.row}", why=r.why) for r in rows]
    for name, m in usable.items():
        for figure, one in (m.orientation.figures if m.orientation else {}).items():
            if one.refused and figure in ("forearm_rotation", "wrist_flexion"):
                found.append(Refusal(what=f"clip {name}, {figure.replace('_', ' ')}", why=one.refused))
    return found


def _facts(files: SessionFiles, usable: dict[str, ThrowMeasurement]) -> dict[str, str]:
    models = next(iter(usable.values())).models if usable else {}
    facts = {"release": version("release"), "clips": str(len(files.clips)), "throw sheet": files.sheet.name}
    facts |= {"flight file": files.flight.name} if files.flight else {}
    facts |= {"plan": files.plan.name} if files.plan else {}
    return facts | {f"model {name}": digest[:16] for name, digest in models.items()}
