"""The report of one session of a logbook: compare the cues, gather the pictures, write the page."""

import io
from collections.abc import Collection, Mapping
from importlib.metadata import version
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from release.clock_check import clock_checks, clock_sentences
from release.clock_fill import filled_clips
from release.instant.result import ReleaseInstant
from release.logbook import clip_names, link_logbook, linked_table
from release.orientation.result import FIELD_LENGTHS, JOINT_ANGLES, Estimate, Orientation
from release.orientation.write_look import look_row, write_look_csv
from release.record import read
from release.record.write_open import Logbook
from release.session.read_plan import plan_of
from release.session.result import Plan, Session
from release.session_setting import setting_of
from release.spreadsheet import spreadsheet_safe
from release.stats.compare import Settings, compare
from release.stats.read_throws import ThrowTable, throw_table
from release.stats.spin_table import spin_note
from release.stats.write_comparisons import comparison_table
from release.suggest.read_words import Words
from release.suggest.rename import in_use, plan_in_use
from release.views.figures_links import links_figure
from release.views.report import build_report
from release.views.result import ArmDrawing, Refusal, ReleasePicture
from release.views.write import write_report

NOT_CHECKED = (
    "Nothing here has been checked on film yet: the networks learnt from rendered throws, and this version "
    "still misreads some hands by more than the stated interval. Look at each release frame before you "
    "believe an angle."
)
NOT_SHOWN = ["session", "session_name", "day", "clip", "link_state", "refused", "created", "extra"]
MOST_NAMED = 4


def session_throws(logbook: Logbook, session: str | None = None) -> ThrowTable:
    """The throws of one session, or of all, checked and ready for the study's questions.

    Args:
        logbook: Where.
        session: Its id.
    """
    return checked_throws(linked_table(logbook, session))


def checked_throws(table: pd.DataFrame) -> ThrowTable:
    """Rows of `linked_table` made ready likewise."""
    keep = table.drop(columns=[c for c in NOT_SHOWN if c in table and c != "session"])
    return throw_table(keep.rename(columns={"clip_name": "clip"}))


def plan_of_session(logbook: Logbook, session: str) -> Plan | None:
    """The plan kept with the session; None where none was entered."""
    sessions = read.sessions(logbook).set_index("session")
    text = sessions.loc[session, "plan"]
    return plan_of(text) if isinstance(text, str) else None


def write_session_report(
    logbook: Logbook,
    session: str,
    out: Path,
    *,
    title: str | None = None,
    words: Words | None = None,
    metric: bool = False,
) -> Path:
    """Link, compare and report one measured session.

    Args:
        logbook: Where.
        session: Its id.
        out: A folder: the report as index.html; beside it look.csv and throws.csv.
        title: What the report is called; None for the session's name.
        words: The facility's, whose renames the report reads the cues in; throws.csv keeps them as said.
        metric: cm, m and km/h for the reader.

    Returns:
        The report.

    Raises:
        PlannedCuesMerged: The renames make one of two cues that the plan drew between.
    """
    out.mkdir(parents=True, exist_ok=True)
    linked = link_logbook(logbook, session)
    clips = read.clips(logbook, session)
    found = read.measurements(logbook, session)
    answers = {sha256: found.get(sha256) for sha256 in clips["sha256"]}
    names = clip_names(clips)
    write_look_csv(out / "look.csv", [_look(names[key], answer) for key, answer in answers.items() if answer])
    table = linked_table(logbook, session)
    shown = table.drop(columns=[c for c in NOT_SHOWN if c in table]).rename(columns={"clip_name": "clip"})
    spreadsheet_safe(shown.dropna(axis=1, how="all")).to_csv(out / "throws.csv", index=False)
    plan = plan_of_session(logbook, session)
    if words is not None:
        table = in_use(table, words.renames, words.cues)
        plan = plan and plan_in_use(plan, words.renames, words.cues)
    throws = checked_throws(table)
    report = build_report(
        table,
        title=title or str(table["session_name"].iloc[0]),
        comparisons=comparison_table(compare(throws.rows, throws.figures, Settings(plan=plan))),
        pictures=_pictures(logbook, table, answers),
        refusals=[*_refused_clips(clips, names), *_unlinked(linked), *_refused_figures(answers, names)],
        notes=(
            NOT_CHECKED,
            *linked.notes,
            *_clocks(table, answers, names, filled_clips(logbook, session)),
            *_two_phones(table, answers, names),
            *spin_note(throws),
        ),
        session_svg=_svg(linked),
        facts=_facts(logbook, clips, answers) | {"thrown from": str(setting_of(logbook, session))},
        main_outcome=plan.main_outcome if plan else None,
        metric=metric,
    )
    write_report(report, out / "index.html")
    return out / "index.html"


def _clocks(
    table: pd.DataFrame,
    answers: Mapping[str, Mapping | None],
    names: Mapping[str, str],
    filled: Collection[str],
) -> list[str]:
    """What the flight unit's speeds say of the clips' clocks."""
    bases = {clip: answer["time_base"] for clip, answer in answers.items() if answer}
    return clock_sentences(clock_checks(table, bases), names, filled)


def _two_phones(
    table: pd.DataFrame, answers: Mapping[str, Mapping | None], names: Mapping[str, str]
) -> list[str]:
    """Which throws were fitted from two clips, and which clips of one throw were not and why."""
    both = table.loc[table["second_clip"].notna(), "throw"].astype(int).tolist()
    of = ", ".join(map(str, both))
    lines = [f"Two phones: one arm was fitted to both clips of throw {of}."] if both else []
    for answer in answers.values():
        if answer and answer["apart"]:
            pair = f"{names[answer['clip']]} and {names.get(answer['partner'], 'the other phone')}"
            lines.append(f"Two phones: {pair} were not fitted together: {answer['apart']}.")
    return lines


def _look(name: str, answer: Mapping) -> dict[str, str]:
    release = answer["release"] and ReleaseInstant(
        **{k: answer["release"][k] for k in ("frame_index", "time_s", "sd_frames", "source")}
    )
    figures = {
        name: Estimate(**{k: row[k] for k in ("value", "sd", "low", "high", "refused")})
        for name, row in answer["figures"].items()
    }
    orientation = Orientation(figures=figures, limits=(), flagged=()) if figures else None
    return look_row(name, release, orientation, answer["refused"])


def _svg(linked: Session) -> str:
    drawing = io.StringIO()
    links_figure(linked).savefig(drawing, format="svg", metadata={"Date": None})
    return drawing.getvalue()[drawing.getvalue().index("<svg") :]


def _pictures(
    logbook: Logbook, table: pd.DataFrame, answers: Mapping[str, Mapping | None]
) -> list[ReleasePicture]:
    found = []
    for row in table.to_dict("records"):
        answer = answers.get(row["clip"])
        image = _image(logbook.frames / f"{answer['measurement']}.jpg") if answer else None
        if answer is None or image is None:
            continue
        points = {name: (float(x), float(y)) for name, (x, y) in answer["points_px"].items()}
        found.append(
            ReleasePicture(
                athlete=str(row["athlete"]),
                pitch=str(row["pitch"]),
                throw=int(row["throw"]),
                cue=row["cue"] or "",
                image=image,
                drawing=ArmDrawing(points_px=points, points_sd_px={}),
                flags=tuple(answer["flagged"]),
            )
        )
    return found


def _image(path: Path) -> NDArray[np.uint8] | None:
    picture = cv2.imread(str(path)) if path.is_file() else None
    return None if picture is None else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), np.uint8)


def _refused_clips(clips: pd.DataFrame, names: Mapping[str, str]) -> list[Refusal]:
    bad = clips[clips["state"].isin(["refused", "set aside"])]
    return [Refusal(what=f"clip {names[c['sha256']]}", why=str(c["why"])) for c in bad.to_dict("records")]


def _unlinked(linked: Session) -> list[Refusal]:
    found = []
    for row in linked.rows:
        if row.state != "linked":
            named = [("clip", row.clip), ("throw", row.throw), ("flight", row.flight)]
            what = ", ".join(f"{kind} {name}" for kind, name in named if name)
            found.append(Refusal(what=what, why=f"not linked: {row.why}"))
    return found


def _refused_figures(answers: Mapping[str, Mapping | None], names: Mapping[str, str]) -> list[Refusal]:
    """One line for each figure and reason; figures that need a camera only where one was given."""
    clips: dict[tuple[str, str], list[str]] = {}
    measured = [(names[key], answer["figures"]) for key, answer in answers.items() if answer]
    camera = any(
        figures[name]["refused"] is None for _, figures in measured for name in FIELD_LENGTHS if figures
    )
    for clip, figures in measured:
        for figure, row in figures.items():
            if row["refused"] and (camera or figure in JOINT_ANGLES):
                clips.setdefault((figure, row["refused"]), []).append(clip)
    return [
        Refusal(what=f"{figure.replace('_', ' ')} of {_listed(which)}", why=why)
        for (figure, why), which in clips.items()
    ]


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _facts(logbook: Logbook, clips: pd.DataFrame, answers: Mapping[str, Mapping | None]) -> dict[str, str]:
    models = next((answer["models"] for answer in answers.values() if answer), {})
    facts = {"release": version("release"), "logbook": logbook.folder.name, "clips": str(len(clips))}
    return facts | {f"model {name}": digest[:16] for name, digest in models.items()}
