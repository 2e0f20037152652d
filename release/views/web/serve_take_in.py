"""Routes for what is dropped on the page: clips, throw sheet, flight file, plan."""

from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from sqlalchemy import update
from starlette.concurrency import run_in_threadpool

from release.record import schema as t
from release.record.write_clips import add_clips
from release.record.write_open import writing
from release.views.web.pages import PROGRESS
from release.views.web.read_session import read_session, read_states
from release.views.web.serve_desk import AtDesk, Desk
from release.views.web.write_uploads import UploadRefused, shown_name

DROPPED = ("clip", "sheet", "flight", "plan")
MOST_CLIPS = 5000  # in one session


router = APIRouter()


@router.put("/s/{session}/drop")
async def drop(session: str, kind: str, request: Request, desk: AtDesk) -> dict[str, Any]:
    if kind not in DROPPED:
        raise UploadRefused(
            "clips, the throw sheet, the flight file and the plan are taken, nothing else", 415
        )
    count = await run_in_threadpool(partial(_known, desk, session))
    if kind == "clip" and count >= MOST_CLIPS:
        raise UploadRefused(f"a session holds at most {MOST_CLIPS} clips", 413)
    stated = request.headers.get("content-length", "")
    path = await desk.inbox.receive(
        request.stream(),
        kind="clip" if kind == "clip" else "table",
        declared=int(stated) if stated.isdigit() else None,
    )
    name = shown_name(unquote(request.headers.get("x-file-name", "")))
    try:
        return await run_in_threadpool(partial(_take, desk, session, kind, path, name))
    finally:
        path.unlink(missing_ok=True)


@router.get("/s/{session}/progress")
def progress(session: str, desk: AtDesk) -> Response:
    rows = read_states(desk.logbook, session)
    turn = desk.turn(session, rows)
    for row in rows:
        row["state"] = desk.measuring.step(row["sha256"]) or row["state"]
        row["said"] = ": ".join(word for word in (PROGRESS[row["state"]], row.pop("why")) if word)
    # Made here, since FastAPI goes through what is returned value by value, which cost most of the answer.
    return JSONResponse({"clips": rows, "turn": turn, "note": desk.measuring.last_error})


def _known(desk: Desk, session: str) -> int:
    """How many clips the session holds; raises where there is no such session."""
    return len(read_states(desk.logbook, session)) or len(read_session(desk.logbook, session).clips)


def _take(desk: Desk, session: str, kind: str, path: Path, name: str) -> dict[str, Any]:
    if kind != "clip":
        steps = desk.measuring.steps
        said = {"sheet": steps.sheet, "flight": steps.flight, "plan": steps.plan}[kind](
            desk.logbook, session, path
        )
        desk.measuring.relink(session)
        return {"said": said}
    taken = next(iter(add_clips(desk.logbook, [path], session)))
    if taken.sha256 is None:
        raise UploadRefused(taken.why_not or "not taken", 415)
    if taken.new:
        with writing(desk.logbook) as connection:
            connection.execute(update(t.clips).where(t.clips.c.sha256 == taken.sha256).values(name=name))
        desk.measuring.ask(taken.sha256, session)
    return {"sha256": taken.sha256, "new": taken.new, "said": "taken in" if taken.new else "was here already"}
