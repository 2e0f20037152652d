"""Takes a folder of past sessions in one go: whatever clip lists, sheets and exports there are."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from release.errors import NothingToLink, ReleaseError
from release.read_table import read_text_table
from release.session.read import CLIPS, SHEET
from release.session.read_files import LinkedFiles, link_files


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSession:
    """One folder of files, linked, or why it could not be."""

    name: str
    linked: LinkedFiles | None
    why_not: str  # "" where it was linked
    left_out: tuple[str, ...]  # files that were not understood, and why


def link_season(folder: Path, time_zone: str = "") -> tuple[PastSession, ...]:
    """Link each folder that holds CSV files, at any depth; one that cannot be is named and the rest goes on.

    A file is known by its columns: a sheet has `throw` and `pitch`, a clip list `clip`; any other is a flight
    file, read by the mapping file (.toml with `[columns]`) in its folder or in one above it.

    Raises:
        NothingToLink: There is no CSV file in the folder.
    """
    folders = sorted({path.parent for path in folder.rglob("*.csv")})
    if not folders:
        raise NothingToLink(f"there is no CSV file in {folder}")
    return tuple(_session(each, folder, time_zone) for each in folders)


def _session(folder: Path, top: Path, time_zone: str) -> PastSession:
    kinds: dict[str, list[Path]] = {"clips": [], "sheet": [], "flight": []}
    left_out: list[str] = []
    for path in sorted(folder.glob("*.csv")):
        try:
            kinds[_kind(path)].append(path)
        except ReleaseError as error:
            left_out.append(str(error))
    for kind in ("clips", "sheet"):
        left_out += [f"{path.name}: a second {kind} in this folder" for path in kinds[kind][1:]]
    name = str(folder.relative_to(top)) if folder != top else folder.name
    try:
        linked = link_files(
            clips=next(iter(kinds["clips"]), None),
            sheet=next(iter(kinds["sheet"]), None),
            flights=kinds["flight"],
            mapping=_mapping(folder, top),
            time_zone=time_zone,
        )
    except ReleaseError as error:
        return PastSession(name=name, linked=None, why_not=str(error), left_out=tuple(left_out))
    return PastSession(name=name, linked=linked, why_not="", left_out=tuple(left_out))


def _kind(path: Path) -> str:
    columns = set(read_text_table(path, (*SHEET, *CLIPS)).rows.columns)
    if {"throw", "pitch"} <= columns:
        return "sheet"
    return "clips" if "clip" in columns else "flight"


def _mapping(folder: Path, top: Path) -> Path | None:
    for place in (folder, *folder.parents):
        found = [
            path for path in sorted(place.glob("*.toml")) if "[columns" in path.read_text(errors="replace")
        ]
        if found or place == top:
            return next(iter(found), None)
    return None


def season_report(sessions: Sequence[PastSession]) -> str:
    """What was linked in each session, and what could not be matched, in lines."""
    lines = []
    for past in sessions:
        if past.linked is None:
            lines.append(f"{past.name}: not linked: {past.why_not}")
        else:
            rows = past.linked.session.rows
            count = {state: sum(row.state == state for row in rows) for state in ("linked", "asked", "alone")}
            aside = sum(len(rows) for rows in past.linked.set_aside.values())
            lines.append(
                f"{past.name}: {count['linked']} linked, {count['asked']} to be asked, "
                f"{count['alone']} alone, {aside} rows set aside"
            )
            lines += [f"  note: {note}" for note in past.linked.notes]
        lines += [f"  left out: {why}" for why in past.left_out]
    return "\n".join(lines)
