"""Who may talk to the page: Host and Origin checked, a login, and what every answer says to the browser.

A page on this machine can be reached by any site open in the same browser: by requests across sites, and
by a foreign name that is made to point here. So the Host must be one of ours, whatever changes something
must come from our own pages, and everything but the login needs a session that only the token starts.
"""

import hmac
import ipaddress
import logging
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "release_session"
SESSION_S = 12 * 3600
MOST_SESSIONS = 100
MOST_FORM_BYTES = 256 << 10
ANSWER_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # under "no-referrer" browsers send our own forms with Origin: null
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

log = logging.getLogger("release.page")


@dataclass(kw_only=True)
class Sessions:
    """The people who are logged in, in memory only: a restart logs everybody out."""

    token: str
    clock: Callable[[], float] = time.monotonic
    _known: dict[str, tuple[str, float]] = field(default_factory=dict)

    def login(self, token: str, who: str) -> str | None:
        """A new session's secret, or None where the token is wrong."""
        if not hmac.compare_digest(token.encode(), self.token.encode()):
            return None
        if len(self._known) >= MOST_SESSIONS:
            self._known.pop(next(iter(self._known)))
        secret = secrets.token_urlsafe(32)
        self._known[secret] = (who, self.clock() + SESSION_S)
        return secret

    def who(self, secret: str | None) -> str | None:
        """Who holds this session; None where there is none, or it has run out."""
        who, until = self._known.get(secret or "", ("", 0.0))
        if until <= self.clock():
            self._known.pop(secret or "", None)
            return None
        return who

    def logout(self, secret: str | None) -> None:
        """End a session."""
        self._known.pop(secret or "", None)


def host_is_ours(host: str, *, port: int, shared: bool) -> bool:
    """Whether a Host header names this server: loopback only, or any address literal where shared.

    A name that somebody else's name server could point here is never ours; `localhost.` with its dot is not
    either.
    """
    try:
        parts = urlsplit(f"//{host}")
        name, given_port = parts.hostname or "", parts.port
    except ValueError:
        return False
    if parts.netloc != host or parts.username is not None or "@" in host or "," in host:
        return False
    if (given_port if given_port is not None else (443 if shared else 80)) != port:
        return False
    if name == "localhost":
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return False
    return shared or address in (ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("::1"))


class Guard:
    """Stands before the whole application; what it refuses reaches no page."""

    def __init__(self, app: ASGIApp, *, sessions: Sessions, port: int, shared: bool) -> None:
        self.app, self.sessions, self.port, self.shared = app, sessions, port, shared

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no websockets here
            await send({"type": "websocket.close", "code": 1008})
            return
        headers, path = Headers(scope=scope), scope["path"]
        if why := self._refusal(headers, scope["method"]):
            log.warning("refused %s %r: %s", scope["method"], path[:200], why)
            await PlainTextResponse(f"Refused: {why}.", 403)(scope, receive, _with_headers(send))
            return
        if self._too_large(headers, scope["method"], path):
            log.warning("refused %s %r: too much", scope["method"], path[:200])
            answer = PlainTextResponse("Refused: too much.", 413, {"Connection": "close"})
            await answer(scope, receive, _with_headers(send))
            return
        secret = cookie_parser(headers.get("cookie", "")).get(COOKIE)
        who = self.sessions.who(secret)
        if who is None and path != "/login" and not path.startswith("/static/"):
            log.warning("refused %s %r: not logged in", scope["method"], path[:200])
            answer = (
                RedirectResponse("/login", 303)
                if scope["method"] == "GET" and "text/html" in headers.get("accept", "")
                else PlainTextResponse("Refused: not logged in.", 401)
            )
            await answer(scope, receive, _with_headers(send))
            return
        scope["state"] = {**scope.get("state", {}), "who": who, "secret": secret}
        await self.app(scope, receive, _with_headers(_telling(send, scope)))

    def _refusal(self, headers: Headers, method: str) -> str | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not host_is_ours(hosts[0], port=self.port, shared=self.shared):
            return "the Host header names another server"
        ours = f"{'https' if self.shared else 'http'}://{hosts[0]}"
        origin = headers.get("origin")
        if origin is not None and origin != ours:
            return "the request comes from another site"
        if method not in ("GET", "HEAD") and origin is None:
            return "the request does not say where it comes from"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return "the request comes from another site"
        return None

    def _too_large(self, headers: Headers, method: str, path: str) -> bool:
        """Only dropped files may be large or of unstated length; they are counted as they come."""
        if method in ("GET", "HEAD") or path.endswith("/drop"):
            return False
        stated = headers.get("content-length", "")
        return not stated.isdigit() or int(stated) > MOST_FORM_BYTES


def _telling(send: Send, scope: Scope) -> Send:
    """Whatever was asked to be changed and was not goes into the log."""

    async def sending(message: Message) -> None:
        refused = message["type"] == "http.response.start" and message["status"] >= 400
        if refused and scope["method"] not in ("GET", "HEAD"):
            log.warning("not done, %d: %s %r", message["status"], scope["method"], scope["path"][:200])
        await send(message)

    return sending


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in ANSWER_HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return sending
