"""Who is let in and what is refused, against a page that really listens."""

import logging
import socket
import time

import httpx
import pytest
from sqlalchemy import func, select

from release.errors import ReleaseError
from release.record import schema as t
from release.record.write_open import reading
from release.views.web import serve, serve_hurried
from release.views.web.guard import SESSION_S, Sessions, host_is_ours
from tests.views.web.served import TOKEN, page

FACT = "0" * 32


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    with page(tmp_path_factory.mktemp("guard") / "logbook") as running:
        yield running


def written(served) -> tuple[int, ...]:
    """How much the logbook holds, to see that nothing was changed."""
    with reading(served.logbook) as connection:
        return tuple(
            connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in t.metadata.sorted_tables
        )


def answer_to(served, head: str) -> bytes:
    """What the page says to a request as raw text."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=10) as wire:
        wire.sendall(head.replace("\n", "\r\n").encode("latin-1"))
        return wire.recv(4096)


# The bank of findings E3, item 11.
@pytest.mark.parametrize(
    "host",
    [
        "evil.test",
        "127.0.0.1.evil.test:{port}",
        "localhost.:{port}",
        "",
        "127.0.0.1",
        "127.0.0.1:1",
        "127.0.0.1:{port}1",
        "0.0.0.0:{port}",
        "127.0.0.2:{port}",
        "user@127.0.0.1:{port}",
        "127.0.0.1:{port},evil.test",
        "2130706433:{port}",
        "127.1:{port}",
    ],
)
def test_another_host_is_refused(served, host):
    answer = served.client.get("/", headers={"Host": host.format(port=served.port)})
    assert answer.status_code in (400, 403)
    assert "a session" not in answer.text


def test_two_hosts_or_none_are_refused(served):
    ours = f"Host: 127.0.0.1:{served.port}"
    for head in (f"GET /login HTTP/1.1\n{ours}\nHost: evil.test\n\n", "GET /login HTTP/1.0\n\n"):
        assert answer_to(served, head).split()[1] in (b"400", b"403")


@pytest.mark.parametrize("host", ["127.0.0.1:80", "localhost", "[::1]:80", "LOCALHOST"])
def test_our_own_hosts_are_let_in(host):
    assert host_is_ours(host, port=80, shared=False)


@pytest.mark.parametrize(
    ("host", "ours"), [("192.168.1.5:8765", True), ("evil.test:8765", False), ("192.168.1.5", False)]
)
def test_shared_any_address_is_ours_but_no_name_is(host, ours):
    assert host_is_ours(host, port=8765, shared=True) == ours


@pytest.mark.parametrize(
    "origin", ["null", "http://evil.test", "https://127.0.0.1:{port}", "http://127.0.0.1", None]
)
def test_a_change_asked_for_by_another_site_is_refused(served, origin):
    before = written(served)
    headers = {} if origin is None else {"Origin": origin.format(port=served.port)}
    with httpx.Client(base_url=served.address, cookies=served.client.cookies) as other:
        assert other.post("/session", json={"name": "theirs"}, headers=headers).status_code == 403
    assert written(served) == before


def test_a_browser_that_says_cross_site_is_refused(served):
    assert served.client.get("/", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403


@pytest.mark.parametrize("path", ["/", "/s/x", "/s/x/progress", "/clip/x/release.jpg", "/nowhere", "/loginx"])
def test_a_stranger_sees_nothing(served, path):
    with served.stranger() as stranger:
        assert stranger.get(path).status_code == 401
        assert stranger.get(path, headers={"Accept": "text/html"}).headers["location"] == "/login"


def test_a_stale_or_invented_session_is_refused(served):
    with served.stranger() as stranger:
        stranger.cookies.set("release_session", "invented")
        assert stranger.get("/").status_code == 401
        assert stranger.post("/session", json={"name": "theirs"}).status_code == 401


def test_the_wrong_token_is_refused_and_logged(served, caplog):
    with served.stranger() as stranger, caplog.at_level(logging.WARNING, "release.page"):
        answer = stranger.post("/login", data={"token": "wrong", "who": "X"})
    assert (answer.status_code, "wrong token" in caplog.text) == (403, True)
    assert "release_session" not in answer.cookies


def test_a_session_runs_out_and_logging_out_ends_it():
    now = [0.0]
    sessions = Sessions(token=TOKEN, clock=lambda: now[0])
    secret = sessions.login(TOKEN, "A")
    assert sessions.who(secret) == "A"
    now[0] = SESSION_S
    assert sessions.who(secret) is None
    other = sessions.login(TOKEN, "B")
    sessions.logout(other)
    assert sessions.who(other) is None


def test_the_cookie_stays_with_us_and_out_of_scripts(served):
    with served.stranger() as stranger:
        answer = stranger.post("/login", data={"token": TOKEN, "who": "A"})
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said


def test_every_answer_forbids_foreign_and_inline_content(served):
    with served.stranger() as stranger:
        answers = [served.client.get("/"), served.client.get("/nowhere"), stranger.get("/login")]
        answers += [stranger.get("/static/page.css"), stranger.get("/")]
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe-inline" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert not [name for name in answer.headers if name.startswith("access-control")]


def test_no_page_holds_a_script_or_style_of_its_own(served):
    at = f"/s/{served.session}"
    for path in ("/", at, f"{at}/links", f"{at}/tags", f"{at}/compare", f"{at}/live", f"{at}/camera"):
        text = served.client.get(path).raise_for_status().text
        assert "<script>" not in text
        assert "style=" not in text
        assert "onclick" not in text
        assert "http://" not in text and "https://" not in text  # noqa: PT018


def test_a_form_larger_than_forms_are_is_refused(served):
    before = written(served)
    assert served.client.post("/session", json={"name": "x" * 300_000}).status_code == 413
    endless = served.client.post("/session", content=iter([b'{"name": "x"}']))
    assert endless.status_code == 413
    assert written(served) == before


FORM = (
    "POST /login HTTP/1.1\nHost: {host}\nOrigin: http://{host}\n"
    "Content-Type: application/x-www-form-urlencoded\n"
)


@pytest.mark.parametrize(
    "head",
    [
        pytest.param("", id="nothing is said"),
        pytest.param("GET /login HTTP/1.1\nHost: 127", id="half a head"),
        pytest.param(FORM + "Content-Length: 9\n\nwho", id="a third of a body"),
    ],
)
def test_who_dawdles_with_a_request_is_cut_off(served, monkeypatch, head):
    monkeypatch.setattr(serve_hurried, "REQUEST_S", 0.3)
    began = time.monotonic()
    assert answer_to(served, head.format(host=f"127.0.0.1:{served.port}")) == b""
    assert time.monotonic() - began < 5


@pytest.mark.parametrize(
    "lengths",
    [
        "Content-Length: 5\nContent-Length: 7",
        "Content-Length: -5",
        "Content-Length: five",
        "Content-Length: 5\nTransfer-Encoding: chunked",
    ],
)
def test_a_body_of_two_lengths_or_none_is_refused(served, lengths):
    head = (FORM + lengths).format(host=f"127.0.0.1:{served.port}")
    assert answer_to(served, f"{head}\n\nwho=A\n").split()[1] == b"400"


def test_a_form_of_very_many_parts_is_refused(served):
    with served.stranger() as stranger:
        form = {f"part {i}": (None, "x") for i in range(1001)}
        assert stranger.post("/login", files=form).status_code in (400, 413)


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/session", {"name": ""}),
        ("/session", {"name": "x" * 300_000}),
        ("/clip/nowhere/verdict", {"fact": FACT, "accepted": True}),
        ("/s/nowhere/tag", {"fact": FACT, "throws": [1], "value": {"cue": "x"}}),
    ],
)
def test_whatever_is_refused_is_logged(served, caplog, path, body):
    before = written(served)
    with caplog.at_level(logging.WARNING, "release.page"):
        status = served.client.post(path, json=body).status_code
    assert status in (404, 413, 422)
    assert path in caplog.text
    assert written(served) == before


def test_a_websocket_is_refused(served):
    head = (
        f"GET / HTTP/1.1\nHost: 127.0.0.1:{served.port}\nConnection: Upgrade\nUpgrade: websocket\n"
        "Sec-WebSocket-Version: 13\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\n\n"
    )
    assert b" 101 " not in answer_to(served, head)


def test_sharing_without_a_certificate_is_refused(served):
    with pytest.raises(serve.ShareNeedsCertificate, match="--cert FILE --key FILE"):
        serve.run(served.logbook, served.asked.steps, print, port=served.port, shared=True)
    assert issubclass(serve.ShareNeedsCertificate, ReleaseError)


@pytest.mark.parametrize("path", ["/static/../guard.py", "/static/%2e%2e/guard.py", "/static/..%2fguard.py"])
def test_only_the_static_folder_is_served(served, path):
    answer = answer_to(served, f"GET {path} HTTP/1.1\nHost: 127.0.0.1:{served.port}\n\n")
    assert answer.split()[1] in (b"404", b"401")
    assert b"Host and Origin" not in answer


@pytest.mark.parametrize("given", ["..%2f..%2flogbook.toml", "../logbook", "%00", "logbook.sqlite"])
def test_a_clip_is_looked_up_and_never_made_into_a_path(served, given):
    for part in ("frames", "release.jpg", "state"):
        assert served.client.get(f"/clip/{given}/{part}").status_code == 404
