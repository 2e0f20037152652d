"""Takes a folder of past sessions in one go: whatever clip lists, sheets and exports there are."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from release.errors import NothingToLink, ReleaseError
from release.read_table import read_text_table
from release.record.write_clips import SUFFIXES
from release.session.read import CLIPS, SHEET
from release.session.read_files import LinkedFiles, link_files, named
from release.session.read_plan import read_plan

MOST_NAMED = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSession:
    """One folder of files, linked, or why it could not be."""

    name: str
    videos: tuple[Path, ...]
    clips: Path | None
    sheet: Path | None
    flights: tuple[Path, ...]
    mapping: Path | None
    plan: Path | None
    linked: LinkedFiles | None
    why_not: str  # "" where it was linked
    left_out: tuple[str, ...]  # files that were not understood, and why


def link_season(folder: Path, time_zone: str = "") -> tuple[PastSession, ...]:
    """Link each folder that holds CSV or video files; one that cannot be is named and the rest goes on.

    A table is known by its columns: a sheet has `throw` and `pitch`, a clip list `clip`; any other is a
    flight file, read by the mapping file (.toml with `[columns]`) in its folder or in one above it. Where
    there is no clip list, the video files themselves are it, with the times that they carry. `plan.toml`
    says how the cues were drawn.

    Raises:
        NothingToLink: There is neither in the folder, at any depth.
    """
    folders = sorted({path.parent for path in (*folder.rglob("*.csv"), *_videos(folder.rglob("*")))})
    if not folders:
        raise NothingToLink(f"there is no table and no video in {folder}")
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
    plan = folder / "plan.toml" if (folder / "plan.toml").is_file() else None
    try:
        _ = plan and read_plan(plan)
    except ReleaseError as error:
        plan = None
        left_out.append(str(error))
    found = PastSession(
        name=str(folder.relative_to(top)) if folder != top else folder.name,
        videos=_videos(folder.iterdir()),
        clips=next(iter(kinds["clips"]), None),
        sheet=next(iter(kinds["sheet"]), None),
        flights=tuple(kinds["flight"]),
        mapping=_mapping(folder, top),
        plan=plan,
        linked=None,
        why_not="",
        left_out=tuple(left_out),
    )
    try:
        linked = link_files(
            clips=found.clips,
            videos=found.videos,
            sheet=found.sheet,
            flights=found.flights,
            mapping=found.mapping,
            time_zone=time_zone,
        )
    except ReleaseError as error:
        return replace(found, why_not=str(error))
    return replace(found, linked=linked)


def _videos(paths: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(sorted(path for path in paths if path.suffix.lower() in SUFFIXES and path.name[0] != "."))


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
            aside = [one for rows_ in past.linked.set_aside.values() for one in rows_]
            lines.append(
                f"{past.name}: {count['linked']} linked, {count['asked']} to be asked, "
                f"{count['alone']} alone, {len(aside)} rows set aside"
            )
            unmatched = [f"{row.state}: {named(row)}: {row.why}" for row in rows if row.state != "linked"]
            unmatched += [f"set aside: {one.key or '(no name)'}: {one.why}" for one in aside]
            lines += [f"  {line}" for line in unmatched[:MOST_NAMED]]
            if len(unmatched) > MOST_NAMED:
                lines.append(f"  and {len(unmatched) - MOST_NAMED} more; --csv writes them all")
            lines += [f"  note: {note}" for note in past.linked.notes]
        lines += [f"  left out: {why}" for why in past.left_out]
    return "\n".join(lines)
