"""The page: an application for one logbook, and the server that listens.

Loopback only unless shared; shared it needs a certificate. The login token is needed always.
"""

import gc
import logging
import secrets
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Annotated

import uvicorn
from fastapi import APIRouter, FastAPI, Form, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from fastapi.telemetry import TelemetryConfig
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, PackageLoader, StrictUndefined

from release.errors import NoSuchSession, ReleaseError
from release.record.write_open import Logbook
from release.suggest.read_words import Words
from release.suggest.rename import words_in_use
from release.views.web import (
    serve_clip,
    serve_decisions,
    serve_pages,
    serve_readings,
    serve_study,
    serve_take_in,
)
from release.views.web.guard import COOKIE, SESSION_S, Guard, Sessions
from release.views.web.serve_desk import Desk
from release.views.web.serve_hurried import Hurried
from release.views.web.serve_measuring import Measuring, Steps
from release.views.web.write_uploads import Inbox, UploadRefused, shown_name

HERE = Path(__file__).parent
# Said aloud, so that no variable of the environment can turn it on.
NO_TELEMETRY: TelemetryConfig = {"tracing": False, "metrics": False, "logs": False, "auto_configure": False}
ENDLESS = (408, 413)
# Objects made between two garbage collections: a page of 1,000 throws makes 60,000, in use until it is sent.
MADE_BETWEEN_COLLECTIONS = 10_000
log = logging.getLogger("release.page")


class ShareNeedsCertificate(ReleaseError):
    """The page may leave this machine only under TLS."""


def make_app(
    logbook: Logbook,
    steps: Steps,
    *,
    port: int,
    token: str,
    shared: bool = False,
    words: Words | None = None,
) -> FastAPI:
    """The application.

    Args:
        logbook: What it shows.
        steps: The rest of the tool.
        port: Where it will listen; the Host header must name it.
        token: What people log in with.
        shared: Whether other machines may reach it (under TLS).
        words: The facility's, whose renames cues and grips are read in.
    """
    sessions = Sessions(token=token)
    inbox = Inbox(folder=logbook.folder / "inbox")
    measuring = Measuring(logbook, steps)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        inbox.empty()
        measuring.take_up()
        yield
        measuring.close()

    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan, telemetry=NO_TELEMETRY)
    templates = Jinja2Templates(
        env=Environment(
            loader=PackageLoader("release.views"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
        )
    )
    app.state.desk = Desk(
        logbook=logbook,
        templates=templates,
        measuring=measuring,
        inbox=inbox,
        in_use=words_in_use(words.renames, words.cues) if words else {},
        said_by={cue.words: cue.said_by for cue in words.cues if cue.said_by} if words else {},
    )
    app.mount("/static", StaticFiles(directory=HERE / "static"))
    app.include_router(_login(sessions, templates, secure=shared))
    for part in (serve_pages, serve_clip, serve_study, serve_take_in, serve_decisions, serve_readings):
        app.include_router(part.router)
    app.add_exception_handler(ReleaseError, _said)
    app.add_middleware(Guard, sessions=sessions, port=port, shared=shared)
    return app


def address(port: int, *, shared: bool, token: str) -> str:
    """Where a browser opens the page; for other machines by this one's name on the network."""
    if not shared:
        return f"http://127.0.0.1:{port}/login?token={token}"
    return f"https://{_own_address()}:{port}/login?token={token}"


def _own_address() -> str:
    """The address by which this machine reaches its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address that nobody has
            return probe.getsockname()[0]
        except OSError:
            return "127.0.0.1"


def run(
    logbook: Logbook,
    make_steps: Callable[[], Steps],
    say: Callable[[str], object],
    *,
    port: int,
    shared: bool = False,
    cert: Path | None = None,
    key: Path | None = None,
    words: Words | None = None,
) -> None:
    """Listen until interrupted.

    Args:
        logbook: What is shown.
        make_steps: Called once the page may start.
        say: Told the address, with the token that lets people log in.
        port: Where.
        shared: Listen to other machines too.
        cert: Certificate for that.
        key: Its key.
        words: The facility's.

    Raises:
        ShareNeedsCertificate: Shared without a certificate and its key.
    """
    if shared and (cert is None or key is None):
        raise ShareNeedsCertificate(
            "to let other machines reach the page, give a certificate and its key: --cert FILE --key FILE"
        )
    token = secrets.token_urlsafe(24)
    app = make_app(logbook, make_steps(), port=port, token=token, shared=shared, words=words)
    say(f"Open {address(port, shared=shared, token=token)}")
    say("Whoever has this address can log in. Stop with Ctrl-C.")
    gc.freeze()  # what is loaded by now stays: most pages of 1,000 throws had all of it gone through
    gc.set_threshold(MADE_BETWEEN_COLLECTIONS)
    uvicorn.run(
        app,
        host="0.0.0.0" if shared else "127.0.0.1",
        port=port,
        ssl_certfile=cert if shared else None,
        ssl_keyfile=key if shared else None,
        log_level="warning",
        server_header=False,
        date_header=False,
        http=Hurried,
        limit_concurrency=100,
        timeout_keep_alive=15,
    )


def _login(sessions: Sessions, templates: Jinja2Templates, *, secure: bool) -> APIRouter:
    router = APIRouter()

    @router.get("/login", response_class=HTMLResponse)
    def form(request: Request, token: str = "") -> Response:
        return templates.TemplateResponse(request, "web/login.html", {"token": token[:200], "wrong": False})

    @router.post("/login")
    def login(
        request: Request,
        token: Annotated[str, Form(max_length=200)],
        who: Annotated[str, Form(min_length=1, max_length=40)],
    ) -> Response:
        secret = sessions.login(token, shown_name(who))
        if secret is None:
            log.warning("refused a login: wrong token")
            shown = {"token": "", "wrong": True}
            return templates.TemplateResponse(request, "web/login.html", shown, status_code=403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, secret, max_age=SESSION_S, httponly=True, samesite="strict", secure=secure)
        return answer

    @router.post("/logout")
    def logout(request: Request) -> Response:
        sessions.logout(request.state.secret)
        return RedirectResponse("/login", 303)

    return router


async def _said(request: Request, error: Exception) -> Response:
    """An error of the user's, in its own words; where the logbook lies is nobody's business on a network."""
    status, headers = 400, {}
    if isinstance(error, UploadRefused):
        status = error.status
        if status in ENDLESS:
            headers = {"Connection": "close"}  # or the rest would still be sent, without an end
        log.warning("refused a dropped file: %s", error)
    elif isinstance(error, NoSuchSession):
        status = 404
    text = str(error).replace(f"{request.app.state.desk.logbook.folder}/", "")
    return PlainTextResponse(text, status, headers)
