"""What people decided of the clips of a session, and which two show one throw, as settings to measure by."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select

from release.marked_camera import marked_camera
from release.pipeline import models_here
from release.record import read
from release.record import schema as t
from release.record.result import MeasurementKey, digest
from release.record.write_open import Logbook
from release.settings import Partner, PinnedPoint, Settings

Facts = Sequence[Mapping[str, Any]]
OfClip = Callable[[str], tuple[Settings, str]]


def settings_for(logbook: Logbook, session: str, sha256: str) -> tuple[Settings, str]:
    """What people decided of one clip, as settings, and its hash; the latest word holds."""
    return session_settings(logbook, session)(sha256)


def session_settings(logbook: Logbook, session: str) -> OfClip:
    """The same for each clip of a session, by its hash, as things stand now."""
    facts = read.facts(logbook, session=session)
    clips = {row["sha256"]: row for row in read.clips(logbook, session).to_dict("records")}
    several = len({row["camera"] for row in clips.values()}) > 1
    pairs = partners(logbook, session, facts) if several else {}

    def of_clip(sha256: str) -> tuple[Settings, str]:
        settings, edits = _decided(logbook, facts, sha256, clips[sha256]["camera"])
        if sha256 in pairs:
            other = clips[pairs[sha256]]
            path = (logbook.clips / f"{other['sha256']}{other['ext']}").absolute()
            theirs, _ = _decided(logbook, facts, other["sha256"], other["camera"])
            settings = replace(settings, partner=Partner(path=path, settings=theirs))
        return settings, edits

    return of_clip


def partners(logbook: Logbook, session: str, facts: Facts) -> dict[str, str]:
    """First clip to second, of every throw that two phones saw, by their hashes.

    Both are linked to the throw as last aligned, measured and not rejected; both clocks are known, and both
    cameras have marks. Of three such phones the first two by name.
    """
    rejected = {fact["clip"] for fact in facts if fact["kind"] == "clip rejected"}
    marked = {
        fact["value"]["camera"]: bool(fact["value"]["marks"])
        for fact in facts
        if fact["kind"] == "camera marked"
    }
    columns = (t.links.c.throw, t.clips.c.sha256, t.clips.c.camera, t.measurements.c.time_base)
    query = select(*columns).join(t.clips, t.clips.c.sha256 == t.links.c.clip)
    query = query.join(t.measurements, t.measurements.c.measurement == t.clips.c.measurement)
    query = query.where(
        t.links.c.session == session, t.links.c.state == "linked", t.clips.c.state == "measured"
    )
    rows = read.table(logbook, query.order_by(t.clips.c.camera, t.clips.c.sha256)).dropna(subset="throw")
    known = [
        base["slowdown"] is not None and clip not in rejected and marked.get(camera, False)
        for base, clip, camera in zip(rows["time_base"], rows["sha256"], rows["camera"], strict=True)
    ]
    pairs = {}
    for _, seen in rows[np.array(known, bool)].drop_duplicates(["throw", "camera"]).groupby("throw"):
        if len(seen) > 1:
            pairs[seen["sha256"].iloc[0]] = seen["sha256"].iloc[1]
    return pairs


def key_of(sha256: str, settings: Settings, edits: str) -> MeasurementKey:
    """What the answer for a clip depends on: not where on this machine its partner or a camera file lies."""
    return MeasurementKey(
        clip_sha256=sha256,
        models_sha256=digest(models_here()),
        settings_sha256=digest(asdict(_placeless(settings))),
        edits_sha256=edits,
    )


def _placeless(settings: Settings) -> Settings:
    camera, partner = settings.camera, settings.partner
    if partner is not None:
        partner = Partner(path=Path(partner.path.name), settings=_placeless(partner.settings))
    return replace(settings, camera=camera and Path(camera.name), partner=partner)


def _decided(logbook: Logbook, facts: Facts, sha256: str, phone: str) -> tuple[Settings, str]:
    release_frame = capture_fps = camera = view = None
    pins: dict[tuple[int, str], PinnedPoint] = {}
    kept: list[object] = []
    for fact in facts:
        if fact["clip"] not in (None, sha256):
            continue
        if fact["kind"] == "release set":
            release_frame = float(fact["value"]["frame_index"])
        elif fact["kind"] == "time base set":
            capture_fps = float(fact["value"]["capture_fps"])
        elif fact["kind"] == "landmark pinned":
            pin = PinnedPoint(**fact["value"])
            pins[pin.frame_index, pin.point] = pin
        elif fact["kind"] == "camera marked" and fact["value"]["camera"] == phone:
            camera, view = marked_camera(logbook, fact), fact["value"].get("view") or None
        else:
            continue
        kept.append([fact["kind"], fact["value"]])
    settings = Settings(
        release_frame=release_frame,
        capture_fps=capture_fps,
        pins=tuple(pins.values()),
        camera=camera,
        view=view,
    )
    return settings, digest(kept) if kept else ""
