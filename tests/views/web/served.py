"""A page running on this machine for the time of a test, on a logbook of its own."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI

from release.record.write import session_for
from release.record.write_open import Logbook, new_logbook
from release.session.result import Candidate, LinkedRow, Session
from release.suggest.read_words import Words
from release.views.web.serve import make_app
from release.views.web.serve_hurried import Hurried
from release.views.web.serve_measuring import Steps

TOKEN = "a-token-of-the-tests"


@dataclass
class Asked:
    """Steps that only write down what was asked of them."""

    measured: list[str] = field(default_factory=list)
    corrected: list[str] = field(default_factory=list)

    def steps(self) -> Steps:
        return Steps(
            measure=lambda _logbook, sha256, _told: self.measured.append(sha256),
            correct=lambda _logbook, sha256, _told: self.corrected.append(sha256),
            drawing=lambda _logbook, _sha256: {},
            sheet=lambda *_: "read",
            flight=lambda *_: "read",
            plan=lambda *_: "read",
            camera=lambda *_: {"said": "kept", "outline": []},
            compare=lambda *_: [],
            running=lambda *_: [],
            link=lambda *_: Session(rows=(), axis_s={}, clocks=(), notes=()),
        )


@dataclass(frozen=True, kw_only=True)
class Page:
    """A running page and somebody who is logged in to it."""

    logbook: Logbook
    session: str
    port: int
    client: httpx.Client
    asked: Asked
    app: FastAPI

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def stranger(self) -> httpx.Client:
        """Somebody who is not logged in."""
        return httpx.Client(base_url=self.address, headers={"Origin": self.address})


def somebody(
    browser: Any, served: Page, who: str = "K.M.", size: tuple[int, int] = (1366, 768), **context: Any
) -> Any:
    """A tab of a person who has logged in by the form; `wrong` lists what went wrong in its scripts."""
    seen = {"width": size[0], "height": size[1]}
    tab = browser.new_context(viewport=seen, base_url=served.address, **context).new_page()
    tab.set_default_timeout(120_000)  # a busy machine is slow, not wrong
    tab.wrong = []
    tab.on("pageerror", lambda error: tab.wrong.append(str(error)))
    tab.on("console", lambda said: tab.wrong.append(said.text) if said.type == "error" else None)
    tab.goto(f"/login?token={TOKEN}")
    tab.fill("[name=who]", who)
    tab.click("form button")
    tab.wait_for_selector("text=Sessions")
    return tab


def one_doubt() -> Session:
    """The session of `tests.record.filled` with its first clip in doubt: throw 2 and ball 3 fit it best."""
    found = Candidate(clip="barn_1.mp4", throw="2", flight="3", probability=0.62, why="the times fit")
    row = LinkedRow(
        clip="barn_1.mp4",
        throw=None,
        flight=None,
        probability=0.62,
        state="asked",
        why="two fit",
        candidates=(found,),
    )
    return Session(rows=(row,), axis_s={}, clocks=(), notes=())


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


@contextmanager
def page(
    folder: Path, make_steps: Callable[[], Steps] | None = None, words: Words | None = None
) -> Iterator[Page]:
    """Serve a new logbook in `folder`; by default nothing is measured, only written down."""
    logbook, asked, port = new_logbook(folder), Asked(), free_port()
    session = session_for(logbook, "a session")
    steps = make_steps() if make_steps else asked.steps()
    app = make_app(logbook, steps, port=port, token=TOKEN, words=words)
    with listening(app, port):
        address = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=address, headers={"Origin": address}, timeout=30) as client:
            client.post("/login", data={"token": TOKEN, "who": "T.T."})
            yield Page(logbook=logbook, session=session, port=port, client=client, asked=asked, app=app)
    logbook.engine.dispose()


@contextmanager
def listening(app: object, port: int) -> Iterator[None]:
    config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", ws="none", http=Hurried)  # type: ignore[arg-type]
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield
    finally:
        server.should_exit = True
        thread.join(20)
