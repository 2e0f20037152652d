"""Routes of one clip: its review page, its frames and picture, what a person decides of it."""

import json
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response, StreamingResponse
from pydantic import BaseModel, ConfigDict, Field

from release.record.read import facts as facts_of
from release.record.write import add_fact
from release.views.web import pages
from release.views.web.read_session import ABOUT_CLIPS, ClipRow, Row, read_fact, read_own_answer, read_seen
from release.views.web.serve_desk import AtDesk, Desk
from release.views.web.serve_frames import frame_range, frame_records, open_clip, shown_scale

Id = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]  # chosen by the browser: sent twice, written once
Point = Literal["shoulder", "elbow", "wrist", "index_mcp", "middle_mcp", "ring_mcp", "little_mcp", "ball"]
CHANGES_ANSWER = ("release set", "landmark pinned")

router = APIRouter()


class Decision(BaseModel):
    """What every decision carries."""

    model_config = ConfigDict(extra="forbid")
    fact: Id


class ReleaseSet(Decision):
    frame_index: float = Field(ge=0, lt=1e7)


class Pinned(Decision):
    frame_index: int = Field(ge=0, lt=10**7)
    point: Point
    x_px: float = Field(ge=-1e5, le=1e5)
    y_px: float = Field(ge=-1e5, le=1e5)


class Verdict(Decision):
    accepted: bool
    why: str = Field("", max_length=500)


@router.get("/s/{session}/review/{sha256}")
def review(request: Request, session: str, sha256: str, desk: AtDesk) -> Response:
    rows = desk.read(session)
    order = [c.sha256 for c in rows.clips]
    if sha256 not in order:
        raise HTTPException(404, "no such clip in this session")
    at = order.index(sha256)
    clip = rows.clips[at]
    own, seen = read_own_answer(desk.logbook, sha256), read_seen(desk.logbook, clip.measurement)
    corrected = any(f["kind"] in CHANGES_ANSWER for f in clip.facts)
    return desk.page(
        request,
        "review",
        session=rows,
        clip=clip,
        card=pages.card(clip, pages.cue_classes(rows.clips)),
        before=order[at - 1] if at else None,
        after=order[at + 1] if at + 1 < len(order) else None,
        place=f"{at + 1} of {len(order)}",
        machine=own["release"] if own else None,
        own=pages.figures_of(own["figures"]) if own and corrected else None,
        decided=[pages.decided(fact) for fact in clip.facts],
        limits=seen["limits"],
        data=review_data(clip, seen),
    )


def review_data(clip: ClipRow, seen: Row) -> dict[str, Any]:
    """What the scripts need, as an attribute of the page: no script is written into it."""
    release = clip.release or {}
    return {
        "sha256": clip.sha256,
        "measurement": clip.measurement,
        "release": release.get("frame_index"),
        "sd": release.get("sd_frames"),
        "pictureFrame": clip.picture_frame_index,
        "points": seen["points_px"],
        "facts": [{"fact": f["fact"], "kind": f["kind"]} for f in clip.facts],
    }


@router.get("/clip/{sha256}/state")
def clip_state(sha256: str, desk: AtDesk) -> dict[str, Any]:
    place = desk.clip(sha256)
    waiting = desk.measuring.step(sha256) is not None
    return {
        "measurement": place["measurement"],
        "waiting": waiting,
        "state": place["state"],
        "facts": [f["fact"] for f in facts_of(desk.logbook, clip=sha256) if f["kind"] in ABOUT_CLIPS],
    }


@router.get("/clip/{sha256}/frames")
def frames(sha256: str, desk: AtDesk, around: float | None = None, only: bool = False) -> Response:
    place = desk.clip(sha256)
    clip = open_clip(desk.logbook.clips / f"{place['sha256']}{place['ext']}")
    wanted = frame_range(clip, around)
    wanted = wanted[:1] if only else wanted
    about = {"first": wanted.start, "last": wanted.stop - 1, "frames": len(clip.presentation_s)}
    about |= {"scale": shown_scale(clip.height_px)}
    headers = {"X-Frames": json.dumps(about), "Cache-Control": "private, max-age=3600"}
    records = frame_records(clip, wanted)
    return StreamingResponse(records, media_type="application/octet-stream", headers=headers)


@router.get("/clip/{sha256}/arm")
def arm(sha256: str, desk: AtDesk) -> dict[str, Any]:
    desk.clip(sha256)
    return dict(desk.measuring.drawing(sha256))


@router.get("/clip/{sha256}/release.jpg")
def release_picture(sha256: str, desk: AtDesk) -> Response:
    place = desk.clip(sha256)
    path = desk.logbook.frames / f"{place['measurement']}.jpg"
    if place["measurement"] is None or not path.is_file():
        raise HTTPException(404, "no picture yet")
    headers = {"Cache-Control": "private, max-age=86400"}  # a FileResponse would take twice as long
    return Response(path.read_bytes(), media_type="image/jpeg", headers=headers)


@router.post("/clip/{sha256}/release")
def set_release(sha256: str, body: ReleaseSet, request: Request, desk: AtDesk) -> dict[str, Any]:
    return _decide(desk, request, sha256, "release set", body.fact, {"frame_index": body.frame_index})


@router.post("/clip/{sha256}/landmark")
def pin_landmark(sha256: str, body: Pinned, request: Request, desk: AtDesk) -> dict[str, Any]:
    value = body.model_dump(exclude={"fact"})
    return _decide(desk, request, sha256, "landmark pinned", body.fact, value)


@router.post("/clip/{sha256}/verdict")
def verdict(sha256: str, body: Verdict, request: Request, desk: AtDesk) -> dict[str, Any]:
    kind = "clip accepted" if body.accepted else "clip rejected"
    return _decide(desk, request, sha256, kind, body.fact, {} if body.accepted else {"why": body.why})


@router.post("/fact/{fact}/undo")
def undo(fact: Id, body: Decision, request: Request, desk: AtDesk) -> dict[str, Any]:
    before = read_fact(desk.logbook, fact)
    if before is None:
        raise HTTPException(404, "no such decision")
    subject = {k: before[k] for k in ("session", "clip", "throw", "flight", "athlete")}
    who = request.state.who
    add_fact(desk.logbook, "undone", who=who, fact=body.fact, undoes=fact, **subject)
    if before["kind"] in CHANGES_ANSWER:
        desk.measuring.correct(before["clip"], before["session"])
    elif before["session"]:
        desk.measuring.relink(before["session"])
    return {"undone": fact}


def _decide(
    desk: Desk, request: Request, sha256: str, kind: str, fact: str, value: dict[str, Any]
) -> dict[str, Any]:
    session, who = desk.clip(sha256)["session"], request.state.who
    add_fact(desk.logbook, kind, who=who, fact=fact, session=session, clip=sha256, value=value or None)
    if kind in CHANGES_ANSWER:
        desk.measuring.correct(sha256, session)
    elif kind == "clip rejected":
        desk.measuring.relink(session)  # it is no other phone's partner any more
    return {"fact": fact, "who": who}
