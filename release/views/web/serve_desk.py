"""What every route is handed: the logbook, the templates, what is being measured, where files come in."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Request
from fastapi.responses import Response
from fastapi.templating import Jinja2Templates

from release.record.write_open import Logbook
from release.views.web.read_session import (
    Row,
    SessionRows,
    read_clip_place,
    read_session,
    read_states,
    read_written,
)
from release.views.web.serve_measuring import Measuring
from release.views.web.write_uploads import Inbox


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """One running page."""

    logbook: Logbook
    templates: Jinja2Templates
    measuring: Measuring
    inbox: Inbox
    in_use: Mapping[str, Mapping[str, str]]  # columns of the sheet: wordings and the one in use now
    said_by: Mapping[str, str]  # cues of the facility to who says them

    def page(self, request: Request, name: str, **values: Any) -> Response:
        """A page from its template."""
        shown = {"who": request.state.who, "said_by": self.said_by, **values}
        return self.templates.TemplateResponse(request, f"web/{name}.html", shown)

    def look(self, session: str) -> tuple[str, SessionRows]:
        """A session and the turn it is at. The turn is taken first: what changes after it is another turn."""
        turn = self.turn(session, read_states(self.logbook, session))
        return turn, self.read(session)

    def read(self, session: str) -> SessionRows:
        """A session, its cues and grips in the words now in use."""
        return read_session(self.logbook, session, self.in_use)

    def turn(self, session: str, clips: Sequence[Row]) -> str:
        """Another text as soon as pages of this session have something else to show.

        That is when somebody has said a word of it, a file was entered or it was linked anew, here or by
        another program, or one of its clips (rows of `read_states`) was taken in, is being measured, or has
        a new answer.
        """
        written = read_written(self.logbook, session), self.measuring.times_linked(session)
        done = [(c["sha256"], c["measurement"], self._ended(c)) for c in clips]
        return hashlib.sha256(repr((written, done)).encode()).hexdigest()[:16]

    def _ended(self, clip: Row) -> str | None:
        return clip["state"] if self.measuring.step(clip["sha256"]) is None else None

    def clip(self, sha256: str) -> Row:
        """The clip's row; the hash is looked up, never made into a path."""
        place = read_clip_place(self.logbook, sha256)
        if place is None:
            raise HTTPException(404, "no such clip")
        return place


def _desk(request: Request) -> Desk:
    return request.app.state.desk


AtDesk = Annotated[Desk, Depends(_desk)]
