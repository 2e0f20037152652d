"""Routes for what a person decides of a session. Each is one appended fact; nothing before it is changed."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from release.record.write import add_fact, session_for
from release.views.web.camera_file import MARKS, camera_toml
from release.views.web.read_session import read_session
from release.views.web.serve_clip import Decision
from release.views.web.serve_desk import AtDesk

Word = Annotated[str, Field(max_length=200)]
Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Tag = Literal[
    "cue", "pitch", "grip_seams", "grip_offset", "grip_index", "grip_thumb", "grip_ball", "grip_pressure"
]
View = Literal["", "behind", "open side", "closed side", "front"]
SAID = {"confirmed": "link confirmed", "rejected": "link rejected", "extra": "marked extra"}

router = APIRouter()


class LinkSaid(Decision):
    said: Literal["confirmed", "rejected", "extra"]
    clip: Hash | None = None
    throw: int | None = Field(None, ge=0)
    flight: Word | None = None


class Tags(Decision):
    throws: list[int] = Field(min_length=1, max_length=2000)
    value: dict[Tag, Word] = Field(min_length=1)


class Mark(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: Word
    x_px: float = Field(ge=0, le=1e5)
    y_px: float = Field(ge=0, le=1e5)


class CameraMarks(Decision):
    clip: Hash | None = None
    view: View = ""
    marks: list[Mark] = Field(max_length=40)


class NewSession(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str = Field(min_length=1, max_length=80)


@router.post("/s/{session}/link")
def link(session: str, body: LinkSaid, request: Request, desk: AtDesk) -> dict[str, Any]:
    rows = read_session(desk.logbook, session)
    subject = {"clip": body.clip, "throw": body.throw, "flight": body.flight}
    known = {
        "clip": {c.sha256 for c in rows.clips},
        "throw": {t["throw"] for t in rows.throws},
        "flight": {f["flight"] for f in rows.flights},
    }
    named = {kind: value for kind, value in subject.items() if value is not None}
    if not named or any(value not in known[kind] for kind, value in named.items()):
        raise HTTPException(404, "no such clip, throw or ball in this session")
    if (len(named) == 1) != (body.said == "extra"):
        raise HTTPException(422, "a link joins two or three; only one can belong to no throw")
    who, kind = request.state.who, SAID[body.said]
    add_fact(desk.logbook, kind, who=who, fact=body.fact, session=session, **subject)
    desk.measuring.relink(session).result()  # the next look at the page must show it
    return {"fact": body.fact}


@router.post("/s/{session}/tag")
def tag(session: str, body: Tags, request: Request, desk: AtDesk) -> dict[str, Any]:
    known = {row["throw"] for row in read_session(desk.logbook, session).throws}
    if not set(body.throws) <= known:
        raise HTTPException(404, "no such throw")
    value = {str(name): word for name, word in body.value.items()}
    for i, throw in enumerate(body.throws):
        fact = f"{(int(body.fact, 16) + i) % (1 << 128):032x}"
        who = request.state.who
        add_fact(desk.logbook, "throw tagged", who=who, fact=fact, session=session, throw=throw, value=value)
    return {"throws": len(body.throws)}


@router.get("/s/{session}/camera")
def camera_page(request: Request, session: str, desk: AtDesk) -> Response:
    rows = read_session(desk.logbook, session)
    kept = [f["value"] for f in rows.facts if f["kind"] == "camera marked"]
    return desk.page(request, "camera", session=rows, marks=MARKS, kept=kept[-1] if kept else None)


@router.get("/s/{session}/camera.toml")
def camera_file(session: str, desk: AtDesk) -> Response:
    kept = [f["value"] for f in read_session(desk.logbook, session).facts if f["kind"] == "camera marked"]
    if not kept:
        raise HTTPException(404, "no marks are kept yet")
    headers = {"Content-Disposition": 'attachment; filename="camera.toml"'}
    return Response(camera_toml(kept[-1]), media_type="application/toml", headers=headers)


@router.post("/s/{session}/camera")
def camera(session: str, body: CameraMarks, request: Request, desk: AtDesk) -> dict[str, Any]:
    rows = read_session(desk.logbook, session)
    if not {mark.name for mark in body.marks} <= set(MARKS):
        raise HTTPException(422, "no such mark")
    if body.clip is not None and body.clip not in {c.sha256 for c in rows.clips}:
        raise HTTPException(404, "no such clip in this session")
    value = {"camera": "", "view": body.view, "marks": [mark.model_dump() for mark in body.marks]}
    about = {"session": session, "clip": body.clip, "value": value}
    add_fact(desk.logbook, "camera marked", who=request.state.who, fact=body.fact, **about)
    return {"fact": body.fact}


@router.post("/session")
def new_session(body: NewSession, desk: AtDesk) -> dict[str, str]:
    return {"session": session_for(desk.logbook, body.name.strip() or None)}
