"""Routes for comparing: two throws, two cues, the hand against the ball."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from release.views.web import pages
from release.views.web.hand_and_ball import HandAndBall, chart, hand_and_ball, table
from release.views.web.read_session import SessionRows, read_session
from release.views.web.serve_clip import review_data
from release.views.web.serve_desk import AtDesk

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
    rows = read_session(desk.logbook, session)
    measured = [c for c in rows.clips if c.state == "measured"]
    classes = pages.cue_classes(rows.clips)
    found = {c.sha256: c for c in measured}
    first, second = found.get(a), found.get(b)
    cues = list(pages.cue_classes(measured))
    asked = cue_a != cue_b and {cue_a, cue_b} <= set(cues)
    answers = desk.measuring.steps.compare(desk.logbook, session, (cue_a, cue_b)) if asked else ()
    return desk.page(
        request,
        "compare",
        session=rows,
        choices=[pages.card(c, classes) for c in measured],
        cues=cues,
        cue_a=cue_a,
        cue_b=cue_b,
        asked=asked,
        assumed=list(dict.fromkeys(one.why for one in answers)),
        answers=[pages.compared(one) for one in answers],
        less=f"{answers[0].cue_b} less {answers[0].cue_a}" if answers else "",
        first=pages.card(first, classes) if first else None,
        second=pages.card(second, classes) if second else None,
        rows=pages.throw_differences(first, second) if first and second else (),
        first_data=review_data(first) if first else None,
        second_data=review_data(second) if second else None,
    )


def _chosen(
    session: str,
    desk: AtDesk,
    angle: str = "palm_turn",
    ball: str = "horizontal_break_in",
    athlete: str = "",
    pitch: str = "",
) -> tuple[SessionRows, HandAndBall]:
    rows = read_session(desk.logbook, session)
    return rows, hand_and_ball(rows.clips, angle, ball, athlete, pitch)


Chosen = Annotated[Any, Depends(_chosen)]


@router.get("/s/{session}/hand-and-ball")
def hand_and_ball_page(request: Request, desk: AtDesk, chosen: Chosen) -> Response:
    rows, shown = chosen
    return desk.page(request, "hand_and_ball", session=rows, shown=shown)


@router.get("/s/{session}/hand-and-ball.svg")
def hand_and_ball_chart(chosen: Chosen) -> Response:
    return Response(chart(chosen[1]), media_type="image/svg+xml")


@router.get("/s/{session}/hand-and-ball.csv")
def hand_and_ball_table(chosen: Chosen) -> Response:
    headers = {"Content-Disposition": 'attachment; filename="hand-and-ball.csv"'}
    return Response(table(chosen[1]), media_type="text/csv; charset=utf-8", headers=headers)
