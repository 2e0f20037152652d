"""What every route is handed: the logbook, the templates, what is being measured, where files come in."""

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Request
from fastapi.responses import Response
from fastapi.templating import Jinja2Templates

from release.record.write_open import Logbook
from release.views.web.read_session import Row, count_words, read_clip_place
from release.views.web.serve_measuring import Measuring
from release.views.web.write_uploads import Inbox


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """One running page."""

    logbook: Logbook
    templates: Jinja2Templates
    measuring: Measuring
    inbox: Inbox

    def page(self, request: Request, name: str, **values: Any) -> Response:
        """A page from its template."""
        shown = {"who": request.state.who, **values}
        return self.templates.TemplateResponse(request, f"web/{name}.html", shown)

    def turn(self, session: str) -> str:
        """Another text as soon as somebody has said a word of this session, or it was linked anew."""
        return f"{count_words(self.logbook, session)}.{self.measuring.times_linked(session)}"

    def clip(self, sha256: str) -> Row:
        """The clip's row; the hash is looked up, never made into a path."""
        place = read_clip_place(self.logbook, sha256)
        if place is None:
            raise HTTPException(404, "no such clip")
        return place


def _desk(request: Request) -> Desk:
    return request.app.state.desk


AtDesk = Annotated[Desk, Depends(_desk)]
