"""Routes for comparing: two throws, two cues, the hand against the ball."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import Response

from release.errors import ReleaseError
from release.orientation.read_calibration import read_own_fractions
from release.stats.result import Comparison
from release.views.web import pages
from release.views.web.hand_and_ball import HandAndBall, hand_and_ball, table
from release.views.web.mean_hands import groups
from release.views.web.read_session import ClipRow, SessionRows, read_seen
from release.views.web.serve_clip import review_data
from release.views.web.serve_desk import AtDesk, Desk

router = APIRouter()


@router.get("/s/{session}/compare")
def compare(
    request: Request,
    session: str,
    desk: AtDesk,
    a: str = "",
    b: str = "",
    cue_a: str = "",
    cue_b: str = "",
) -> Response:
    rows = desk.read(session)
    measured = [c for c in rows.clips if c.state == "measured"]
    classes = pages.cue_classes(rows.clips)
    found = {c.sha256: c for c in measured}
    first, second = found.get(a), found.get(b)
    cues = list(pages.cue_classes(measured))
    asked = cue_a != cue_b and {cue_a, cue_b} <= set(cues)
    answers, why_not = _answers(desk, session, (cue_a, cue_b)) if asked else ((), "")
    return desk.page(
        request,
        "compare",
        session=rows,
        choices=[pages.card(c, classes) for c in measured],
        cues=cues,
        cue_a=cue_a,
        cue_b=cue_b,
        asked=asked,
        why_not=why_not,
        assumed=list(dict.fromkeys(one.why for one in answers)),
        answers=[pages.compared(one) for one in answers],
        groups=[
            (one, _pair(desk, one.nearest, classes)) for one in groups(measured, (cue_a, cue_b), answers)
        ],
        pair=_pair(desk, (first, second), classes),
        rows=_differences(first, second) if first and second else (),
    )


def _differences(first: ClipRow, second: ClipRow) -> tuple[pages.Difference, ...]:
    whose = [((clip.throw or {}).get("athlete"), clip.camera) for clip in (first, second)]
    alike = whose[0] == whose[1] and whose[0][0] is not None
    return pages.throw_differences(first, second, read_own_fractions() if alike else {})


def _answers(desk: Desk, session: str, cues: tuple[str, str]) -> tuple[Sequence[Comparison], str]:
    """The comparisons of two cues, or why there can be none."""
    try:
        return desk.measuring.steps.compare(desk.logbook, session, cues), ""
    except ReleaseError as error:
        return (), str(error)


def _pair(
    desk: Desk, clips: tuple[Any | None, Any | None], classes: Mapping[str, str]
) -> list[tuple[pages.Card, Any]]:
    """Two clips as they are drawn side by side; none where one is missing."""
    both = [clip for clip in clips if clip is not None]
    if len(both) != 2:
        return []
    seen = [read_seen(desk.logbook, clip.measurement) for clip in both]
    return [(pages.card(clip, classes), review_data(clip, s)) for clip, s in zip(both, seen, strict=True)]


@router.get("/s/{session}/mean-hands.svg")
def mean_hands_chart(
    session: str, desk: AtDesk, cue_a: str, cue_b: str, athlete: str = "", pitch: str = ""
) -> Response:
    clips = [c for c in desk.read(session).clips if c.state == "measured"]
    answers, _ = _answers(desk, session, (cue_a, cue_b))
    for one in groups(clips, (cue_a, cue_b), answers):
        if (one.athlete, one.pitch) == (athlete, pitch):
            from release.views.web.figures import mean_hands_chart  # matplotlib takes 28 MB

            return Response(mean_hands_chart(one), media_type="image/svg+xml")
    raise HTTPException(404, "these two cues cannot be compared")


def _chosen(
    session: str,
    desk: AtDesk,
    angle: str = "",
    ball: str = "horizontal_break_in",
    athlete: str = "",
    pitch: str = "",
) -> tuple[SessionRows, HandAndBall]:
    rows = desk.read(session)
    return rows, hand_and_ball(rows.clips, angle, ball, athlete, pitch)


Chosen = Annotated[Any, Depends(_chosen)]


@router.get("/s/{session}/hand-and-ball")
def hand_and_ball_page(request: Request, desk: AtDesk, chosen: Chosen) -> Response:
    rows, shown = chosen
    return desk.page(request, "hand_and_ball", session=rows, shown=shown)


@router.get("/s/{session}/hand-and-ball.svg")
def hand_and_ball_chart(chosen: Chosen) -> Response:
    from release.views.web.figures import hand_and_ball_chart  # matplotlib takes 28 MB

    return Response(hand_and_ball_chart(chosen[1]), media_type="image/svg+xml")


@router.get("/s/{session}/hand-and-ball.csv")
def hand_and_ball_table(chosen: Chosen) -> Response:
    headers = {"Content-Disposition": 'attachment; filename="hand-and-ball.csv"'}
    return Response(table(chosen[1]), media_type="text/csv; charset=utf-8", headers=headers)
