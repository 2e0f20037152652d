"""Writes a drawn plan: plan.toml, and the throw sheet it fills."""

import json
from collections.abc import Sequence
from itertools import product
from pathlib import Path

import pandas as pd

from release.errors import ReleaseError
from release.stats.plan import PlannedSession


class PlanExists(ReleaseError):
    """A plan is never written over: it says what was drawn before the session."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is there already, and a plan is never drawn twice. Choose another folder")


def write_plan(
    planned: PlannedSession,
    folder: Path,
    *,
    athletes: Sequence[str] = ("",),
    pitches: Sequence[str] = ("",),
    sessions: bool = False,
) -> None:
    """Write `plan.toml` and `sheet.csv` with a row for each throw to come.

    Args:
        planned: The draw.
        folder: Where both go; made if it is not there.
        athletes: Codes for the sheet.
        pitches: Those of every athlete; as many pairs as the plan has groups.
        sessions: Each block is a session of its own.

    Raises:
        PlanExists: A file of either name is there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("plan.toml", "sheet.csv"):
        if (folder / name).exists():
            raise PlanExists(folder / name)
    (folder / "plan.toml").write_text(plan_toml(planned), encoding="utf-8")
    rows = sheet(planned, list(product(athletes, pitches)), sessions)
    rows.to_csv(folder / "sheet.csv", index=False, lineterminator="\n")


def plan_toml(planned: PlannedSession) -> str:
    """The text of `plan.toml`. JSON's strings and lists of strings are TOML's."""
    plan = planned.plan
    lines = [f'unit = "{plan.unit}"', f"cues = {_text(list(plan.cues))}", f"{plan.unit}s = {len(plan.order)}"]
    sizes = [plan.stratum.count(s) for s in sorted(set(plan.stratum))]
    lines += [f"strata = {sizes}  # each athlete's and pitch's own draw"] if len(sizes) > 1 else []
    lines += [f"longest_run = {plan.longest_run}"] if plan.longest_run else []
    lines += [f"seed = {plan.seed}", f"order = {_text(list(plan.order))}"]
    lines += [f"main_outcome = {_text(plan.main_outcome)}"] if plan.main_outcome else []
    if plan.worth:
        lines += ["[worth]", *(f"{_text(figure)} = {worth:g}" for figure, worth in plan.worth.items())]
    return "\n".join(lines) + "\n"


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def sheet(planned: PlannedSession, groups: Sequence[tuple[str, str]], sessions: bool) -> pd.DataFrame:
    """The throw sheet, a row a throw, in the order to be thrown; blocks are numbered on over the groups."""
    plan, unit = planned.plan, planned.unit_of_throw
    who = [groups[plan.stratum[u]] for u in unit]
    rows = pd.DataFrame({"throw": range(1, len(unit) + 1)})
    rows["athlete"], rows["pitch"] = [athlete for athlete, _ in who], [pitch for _, pitch in who]
    rows["cue"] = [plan.order[u] for u in unit]
    rows["block"] = [str(u + 1) if plan.unit == "block" else "" for u in unit]
    if sessions:
        rows.insert(0, "session", unit % len(planned.alone.order) + 1)
        rows = rows.sort_values("session", kind="stable")
        rows["throw"] = rows.groupby("session").cumcount() + 1
    return rows
