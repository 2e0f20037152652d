"""Routes of the pages about a whole session."""

from typing import Any

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response

from release.grip_photo import GripPhoto, photos_of
from release.views.web import pages
from release.views.web.links import asked, said
from release.views.web.read_session import (
    TAGS,
    SessionRows,
    read_recent_words,
    read_sessions,
)
from release.views.web.serve_desk import AtDesk, Desk
from release.views.web.write_uploads import MOST_BYTES
from release.views.words import words

GRIP_CHOICES = {
    "grip_index": ("flat", "spiked", "knuckled", "braced"),
    "grip_thumb": ("under", "angled", "side"),
}
MOST_PHOTOS = 24  # on the page of cues and grips
KEPT_A_DAY = {"Cache-Control": "private, max-age=86400"}

router = APIRouter()


@router.get("/")
def start(request: Request, desk: AtDesk) -> Response:
    return desk.page(request, "start", sessions=read_sessions(desk.logbook), session=None)


@router.get("/s/{session}")
def session_page(request: Request, session: str, desk: AtDesk) -> Response:
    turn, rows = desk.look(session)
    shown = {"throws": len(rows.throws), "flights": len(rows.flights), "most_bytes": MOST_BYTES["clip"]}
    return desk.page(request, "session", session=rows, turn=turn, walls=_walls(rows, desk), **shown)


@router.get("/s/{session}/wall")
def wall(request: Request, session: str, desk: AtDesk) -> Response:
    rows = desk.read(session)
    return desk.page(request, "wall", session=rows, walls=_walls(rows, desk))


@router.get("/s/{session}/links")
def links(request: Request, session: str, desk: AtDesk) -> Response:
    turn, rows = desk.look(session)
    something = rows.clips or rows.flights
    if something and not desk.measuring.times_linked(session):
        desk.measuring.linked(session)
        turn, rows = desk.look(session)  # with the links just made
    doubtful = asked(rows, desk.measuring.linked(session)) if something else ()
    made = sum(link["state"] == "linked" for link in rows.links)
    note = desk.measuring.last_error
    shown = {"turn": turn, "asked": doubtful, "note": note, "made": made, "said": said(rows)}
    return desk.page(request, "links", session=rows, **shown)


@router.get("/s/{session}/tags")
def tags(request: Request, session: str, desk: AtDesk) -> Response:
    turn, rows = desk.look(session)
    recent = {column: _offered(desk, column) for column in TAGS}
    written = [column for column in TAGS if any(throw[column] for throw in rows.throws)]
    shown = {"turn": turn, "recent": recent, "columns": TAGS, "written": written}
    return desk.page(request, "tags", session=rows, photos=_photos(desk, rows), **shown)


def _offered(desk: Desk, column: str) -> list[str]:
    """Words for a column, those last written first, as they are called now."""
    in_use = desk.in_use.get(column, {})
    recent = [in_use.get(word, word) for word in read_recent_words(desk.logbook, column)]
    return list(dict.fromkeys([*recent, *in_use.values(), *GRIP_CHOICES.get(column, ())]))


def _photos(desk: Desk, rows: SessionRows) -> list[tuple[str, GripPhoto]]:
    """The newest photos of how the session's athletes held the pitches that they throw in it."""
    thrown = dict.fromkeys((throw["athlete"], throw["pitch"]) for throw in rows.throws if throw["athlete"])
    return [
        (athlete, photo)
        for athlete in dict.fromkeys(athlete for athlete, _ in thrown)
        for photo in photos_of(desk.logbook, athlete)
        if (athlete, photo.pitch) in thrown
    ][:MOST_PHOTOS]


@router.get("/grip.jpg")
def grip_photo(desk: AtDesk, athlete: str, name: str) -> Response:
    for photo in photos_of(desk.logbook, athlete):
        if photo.name == name:
            return Response(photo.jpeg, media_type="image/jpeg", headers=KEPT_A_DAY)
    raise HTTPException(404, "no such photo")


@router.get("/s/{session}/live")
def live(
    request: Request,
    session: str,
    desk: AtDesk,
    first: str = "",
    second: str = "",
    figure: str = "",
) -> Response:
    turn, rows = desk.look(session)
    thrown = [c for c in rows.clips if c.state in ("measured", "refused")]
    last = pages.card(thrown[-1], pages.cue_classes(rows.clips)) if thrown else None
    cues = list(dict.fromkeys(row["cue"] for row in rows.throws if row["cue"]))
    if not (first or second) and last is not None:  # the cue in use against the one given before it
        given = [c.throw["cue"] for c in thrown if c.throw and c.throw["cue"] in cues]
        before = [cue for cue in given if cue != last.cue]
        first, second = (before[-1], last.cue) if before and last.cue in cues else ("", "")
    chosen = figure in pages.FIGURES and first != second and {first, second} <= set(cues)
    steps = desk.measuring.steps
    answer = steps.running(desk.logbook, session, (first, second), figure) if chosen else ()
    shown = {"cues": cues, "first": first, "second": second, "figure": figure, "turn": turn}
    shown |= {"figures": [(key, words(key).label) for key in pages.FIGURES], "answer": answer}
    throws, running = _thrown(rows), _running(rows)
    return desk.page(request, "live", session=rows, last=last, throws=throws, running=running, **shown)


def _walls(rows: SessionRows, desk: Desk) -> tuple[pages.Wall, ...]:
    return pages.walls(rows.clips, desk.measuring.step)


def _thrown(rows: SessionRows) -> list[tuple[str, int]]:
    """Throws of each athlete, by the sheet where there is one, else by the clips."""
    said_by = [row["athlete"] or "athlete not said" for row in rows.throws] or ["this session"] * len(
        rows.clips
    )
    return [(who, said_by.count(who)) for who in dict.fromkeys(said_by)]


def _running(rows: SessionRows) -> list[dict[str, Any]]:
    """Throws so far and the means of each cue."""
    measured = [c for c in rows.clips if c.state == "measured"]
    return [
        {
            "cue": wall.cue,
            "cue_class": wall.cue_class,
            "count": len(wall.cards),
            "means": pages.cue_means(measured, wall.cue)[:4],
        }
        for wall in pages.walls(rows.clips)
    ]
