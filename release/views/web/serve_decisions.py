"""Routes for what a person decides of a session. Each is one appended fact; nothing before it is changed."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from release.record.write import add_fact, session_for
from release.views.web.camera_file import MARKS, camera_toml
from release.views.web.read_session import Row, SessionRows, read_session
from release.views.web.serve_clip import Decision
from release.views.web.serve_desk import AtDesk
from release.views.web.serve_frames import open_clip

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
    clip: Hash  # whose first frame they were clicked in
    view: View = ""
    camera: Word = ""  # which phone, where there are several
    marks: list[Mark] = Field(max_length=40)
    plate_back_ft: float | None = Field(None, gt=0, le=100)
    mound_height_in: float | None = Field(None, ge=0, le=30)
    stick_m: float | None = Field(None, gt=0, le=10)
    height_m: float | None = Field(None, ge=-5, le=50)
    distance_m: float | None = Field(None, gt=0, le=200)


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
def camera_page(request: Request, session: str, desk: AtDesk, phone: str = "") -> Response:
    rows = read_session(desk.logbook, session)
    phones = list(dict.fromkeys(c.camera for c in rows.clips))
    phone = phone if phone in phones or not phones else phones[0]
    shown = {"phones": phones, "phone": phone, "clips": [c for c in rows.clips if c.camera == phone]}
    kept = _kept_marks(rows, phone)
    return desk.page(request, "camera", session=rows, marks=MARKS, kept=kept and kept["value"], **shown)


@router.get("/s/{session}/camera.toml")
def camera_file(session: str, desk: AtDesk, phone: str = "") -> Response:
    kept = _kept_marks(read_session(desk.logbook, session), phone)
    if kept is None:
        raise HTTPException(404, "no marks are kept yet")
    headers = {"Content-Disposition": 'attachment; filename="camera.toml"'}
    return Response(camera_toml(kept["value"]), media_type="application/toml", headers=headers)


@router.post("/s/{session}/camera")
def camera(session: str, body: CameraMarks, request: Request, desk: AtDesk) -> dict[str, Any]:
    rows = read_session(desk.logbook, session)
    if not {mark.name for mark in body.marks} <= set(MARKS):
        raise HTTPException(422, "no such mark")
    if body.clip not in {c.sha256 for c in rows.clips if c.camera == body.camera}:
        raise HTTPException(404, "no such clip of this phone in this session")
    place = desk.clip(body.clip)
    clip = open_clip(desk.logbook.clips / f"{place['sha256']}{place['ext']}")
    value = body.model_dump(exclude={"fact"}, exclude_none=True)
    value |= {"width_px": clip.width_px, "height_px": clip.height_px}
    value |= {"focal_35mm": clip.focal_35mm} if clip.focal_35mm is not None else {}
    who = request.state.who
    add_fact(desk.logbook, "camera marked", who=who, fact=body.fact, session=session, value=value)
    for row in rows.clips:
        if row.camera == body.camera and row.state == "measured":
            desk.measuring.ask(row.sha256, session)
    return desk.measuring.steps.camera(desk.logbook, {"fact": body.fact, "value": value})


def _kept_marks(rows: SessionRows, phone: str) -> Row | None:
    """The newest marks of a phone."""
    kept = [f for f in rows.facts if f["kind"] == "camera marked" and f["value"]["camera"] == phone]
    return kept[-1] if kept else None


@router.post("/session")
def new_session(body: NewSession, desk: AtDesk) -> dict[str, str]:
    return {"session": session_for(desk.logbook, body.name.strip() or None)}
