"""Routes of the blind reading: bare frames in an order of their own, no arm, no release, no figure, no cue.

A reading is a fact that changes nothing: `release agreement` sets it beside the answer in force and beside
other readings.
"""

import hashlib
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from release.record.read import facts
from release.record.write import add_fact
from release.views.web.read_session import ClipRow, read_session
from release.views.web.serve_clip import Decision, Point
from release.views.web.serve_desk import AtDesk
from release.views.web.serve_frames import FRAMES_TO_EACH_SIDE

KIND = "read again"
SHIFTED = FRAMES_TO_EACH_SIDE // 2  # frames by which the middle of those shown may lie off the release

router = APIRouter()


class Place(BaseModel):
    model_config = ConfigDict(extra="forbid")
    x_px: float = Field(ge=-1e5, le=1e5)
    y_px: float = Field(ge=-1e5, le=1e5)


class Reading(Decision):
    frame_index: int = Field(ge=0, lt=10**7)
    points: dict[Point, Place] = Field(min_length=1)


@router.get("/s/{session}/read-again")
def read_again(request: Request, session: str, desk: AtDesk) -> Response:
    rows, who = read_session(desk.logbook, session), request.state.who
    clips = [clip for clip in rows.clips if clip.state == "measured"]
    times = dict.fromkeys([clip.sha256 for clip in clips], 0)
    for fact in facts(desk.logbook, session=session):
        if fact["kind"] == KIND and fact["who"] == who and fact["clip"] in times:
            times[fact["clip"]] += 1
    order = sorted(clips, key=lambda clip: (times[clip.sha256], _lot(who, clip.sha256, times[clip.sha256])))
    shown = order[0] if order else None
    done = sum(n > min(times.values()) for n in times.values())
    return desk.page(
        request,
        "read_again",
        session=rows,
        data=_shown(shown, who) if shown else None,
        place=f"{done + 1} of {len(order)}",
        round=min(times.values(), default=0) + 1,
    )


@router.post("/clip/{sha256}/reading")
def reading(sha256: str, body: Reading, request: Request, desk: AtDesk) -> dict[str, Any]:
    place = desk.clip(sha256)
    value = body.model_dump(exclude={"fact"})
    who, session = request.state.who, place["session"]
    add_fact(desk.logbook, KIND, who=who, fact=body.fact, session=session, clip=sha256, value=value)
    return {"fact": body.fact}


def _shown(clip: ClipRow, who: str) -> dict[str, Any]:
    """What the script is told. The frames' middle is shifted by lot, so that it does not tell the release."""
    release = (clip.release or {}).get("frame_index")
    shift = int(_lot(who, clip.sha256, "shift"), 16) % (2 * SHIFTED + 1) - SHIFTED
    return {"sha256": clip.sha256, "around": None if release is None else max(round(release) + shift, 0)}


def _lot(*of: object) -> str:
    return hashlib.sha256(" ".join(map(str, of)).encode()).hexdigest()
