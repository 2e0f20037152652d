"""What is dropped on the page: taken under our own names, or refused with nothing changed."""

import asyncio
import socket
import sys
import threading
from contextlib import suppress
from dataclasses import replace

import httpx
import pytest
from sqlalchemy import delete, insert

from release.errors import ReleaseError
from release.record import schema as t
from release.record.read import clips
from release.record.read import sessions as sessions_of
from release.record.write import save_links, set_aside
from release.record.write_clips import add_clips
from release.record.write_open import open_logbook, writing
from release.views.web import write_uploads
from release.views.web.write_uploads import MOST_AT_ONCE, shown_name
from tests.views.web.served import Asked, page

MP4 = b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom"


@pytest.fixture
def served(tmp_path):
    with page(tmp_path / "logbook") as running:
        yield running


def drop(served, content, *, kind="clip", name="throw.mp4", **headers):
    address = f"/s/{served.session}/drop?kind={kind}"
    return served.client.put(address, content=content, headers={"X-File-Name": name, **headers})


def names_on_disk(served):
    """All but SQLite's own side files, which come and go with its connections."""
    found = {str(path.relative_to(served.logbook.folder)) for path in served.logbook.folder.rglob("*")}
    return {name for name in found if not name.endswith(("-shm", "-wal"))}


def unchanged(served, before):
    return names_on_disk(served) == before and clips(served.logbook).empty


def test_a_clip_is_stored_under_its_content_hash_and_measured(served):
    answer = drop(served, MP4).json()
    assert answer["new"]
    assert [path.name for path in served.logbook.clips.iterdir()] == [f"{answer['sha256']}.mp4"]
    assert served.asked.measured == [answer["sha256"]]


def test_the_same_clip_twice_changes_nothing(served):
    drop(served, MP4)
    again = drop(served, MP4, name="another name.mp4").json()
    assert (again["new"], len(clips(served.logbook))) == (False, 1)


@pytest.mark.parametrize(
    "name",
    [
        "../../evil.mp4",
        "/etc/passwd",
        "C:\\Windows\\evil.mp4",
        "%2e%2e%2fevil",
        "a%00b.mp4",
        "CON",
        "x" * 300,
    ],
)
def test_no_name_from_outside_becomes_part_of_a_path(served, name):
    before = names_on_disk(served)
    answer = drop(served, MP4, name=name)
    assert answer.status_code == 200
    added = names_on_disk(served) - before
    assert added == {f"clips/{answer.json()['sha256']}.mp4"}
    kept = clips(served.logbook)["name"].iloc[0]
    assert len(kept) <= 120
    assert not set("/\\\0") & set(kept)


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("a/b\\c.mp4", "c.mp4"),
        ("gnp\u202e4pm.exe", "gnp4pm.exe"),
        ("\t\n", "without a name"),
        ("e\u0301.mp4", "\u00e9.mp4"),  # NFD and NFC are one name
    ],
)
def test_names_are_shown_without_what_deceives(given, shown):
    assert shown_name(given) == shown


@pytest.mark.parametrize(
    ("kind", "content", "status"),
    [
        pytest.param("clip", b"", 415, id="empty"),
        pytest.param("clip", b"<script>alert(1)</script>", 415, id="a page called a clip"),
        pytest.param("clip", b"PK\x03\x04" + b"0" * 100, 415, id="an archive called a clip"),
        pytest.param("clip", b"MZ" + b"0" * 100, 415, id="a program called a clip"),
        pytest.param("sheet", MP4, 415, id="a clip called a sheet"),
        pytest.param("else", MP4, 415, id="no such kind"),
    ],
)
def test_what_is_not_what_it_says_is_refused(served, kind, content, status):
    before = names_on_disk(served)
    assert drop(served, content, kind=kind).status_code == status
    assert unchanged(served, before)


@pytest.mark.timeout(30)
@pytest.mark.parametrize(("over", "status"), [(0, 200), (1, 413)])
def test_the_limit_of_size_holds_to_the_byte(served, monkeypatch, over, status):
    monkeypatch.setitem(write_uploads.MOST_BYTES, "clip", 1000)
    content = MP4.ljust(1000 + over, b"0")
    assert drop(served, content).status_code == status
    assert drop(served, iter([content + b"1"])).status_code == 413  # of a length that is not stated


def test_an_endless_drop_is_cut_off(served, monkeypatch):
    monkeypatch.setitem(write_uploads.MOST_BYTES, "clip", 100_000)
    before = names_on_disk(served)

    def endless():
        while True:
            yield MP4 * 1000

    with suppress(httpx.WriteError):  # the page may hang up first
        assert drop(served, endless()).status_code == 413
    assert unchanged(served, before)


def raw(served, length, *parts):
    """A drop as raw bytes, the connection cut after the last part."""
    cookie = "; ".join(f"{name}={value}" for name, value in served.client.cookies.items())
    head = (
        f"PUT /s/{served.session}/drop?kind=clip HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n"
        f"Origin: {served.address}\r\nCookie: {cookie}\r\nContent-Length: {length}\r\n\r\n"
    )
    wire = socket.create_connection(("127.0.0.1", served.port), timeout=10)
    wire.sendall(head.encode() + b"".join(parts))
    return wire


def soon(holds):
    return any(holds() or threading.Event().wait(0.02) for _ in range(1000))


def test_a_drop_that_breaks_off_leaves_nothing(served):
    before = names_on_disk(served)
    wire = raw(served, 1_000_000, MP4 * 30_000)
    assert soon(lambda: names_on_disk(served) != before), "it begins to arrive"
    wire.close()
    assert soon(lambda: names_on_disk(served) == before), "and nothing of it is left"
    assert clips(served.logbook).empty


def test_a_sender_that_falls_silent_is_cut_off_and_others_go_on(served, monkeypatch):
    monkeypatch.setattr(write_uploads, "CHUNK_S", 0.3)
    wire = raw(served, 1_000_000, MP4)
    assert served.client.get("/").status_code == 200
    assert b" 408 " in wire.recv(200)
    wire.close()


def test_a_sender_that_drips_is_cut_off(served, monkeypatch):
    monkeypatch.setattr(write_uploads, "FILE_S", 0.2)
    before = names_on_disk(served)
    wire = raw(served, 1_000_000, MP4)
    with suppress(ConnectionError):
        for _ in range(40):
            wire.sendall(b"0")
            threading.Event().wait(0.02)
    assert b" 408 " in wire.recv(200)
    wire.close()
    assert unchanged(served, before)


def test_too_many_at_once_are_told_to_come_again(served):
    wires = [raw(served, 1_000_000, MP4) for _ in range(MOST_AT_ONCE)]
    while served.app.state.desk.inbox.under_way < MOST_AT_ONCE:
        threading.Event().wait(0.01)
    assert drop(served, MP4).status_code == 429
    for wire in wires:
        wire.close()


def test_a_full_disk_refuses_before_it_is_full(served, monkeypatch):
    monkeypatch.setattr(write_uploads, "KEEP_FREE_BYTES", 1 << 62)
    before = names_on_disk(served)
    assert drop(served, MP4).status_code == 507
    assert unchanged(served, before)


def test_a_session_that_is_not_there_takes_nothing(served):
    before = names_on_disk(served)
    assert served.client.put("/s/nowhere/drop?kind=clip", content=MP4).status_code == 404
    assert unchanged(served, before)


@pytest.mark.parametrize(
    "text", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "{{7777*77}}"]
)
def test_script_in_names_is_shown_as_text(served, text):
    served.client.post("/session", json={"name": text})
    drop(served, MP4, name=text.replace("/", ""))
    session = sessions_of(served.logbook).set_index("name")["session"][text]
    for path in ("/", f"/s/{session}", f"/s/{served.session}"):
        shown = served.client.get(path).text
        assert "<script>alert" not in shown
        assert "<img src=x" not in shown
        assert "598829" not in shown


def test_each_step_of_a_clip_is_told_until_it_is_done_or_set_aside(tmp_path):
    at, go_on = threading.Semaphore(0), threading.Semaphore(0)

    def measure(_logbook, _sha256, told):
        for step in ("reading", "finding release", "measuring"):
            told(step)
            at.release()
            go_on.acquire()
        raise ReleaseError("no throw in it")

    with page(tmp_path / "logbook", lambda: replace(Asked().steps(), measure=measure)) as served:

        def said():
            return served.client.get(f"/s/{served.session}/progress").json()["clips"][0]["said"]

        drop(served, MP4)
        for step in ("reading", "finding release", "measuring"):
            at.acquire()
            assert said() == step
            assert f'<span class="nopicture">{step}<' in served.client.get(f"/s/{served.session}/wall").text
            go_on.release()
        while said() == "measuring":
            pass
        assert said() == "set aside: no throw in it"


def test_a_clip_left_waiting_by_an_earlier_run_is_measured(tmp_path):
    (tmp_path / "throw.mp4").write_bytes(MP4)
    with page(tmp_path / "logbook") as before:
        (taken,) = add_clips(before.logbook, [tmp_path / "throw.mp4"], before.session)
        assert before.asked.measured == []
    with page(tmp_path / "logbook") as after:
        while not after.asked.measured:
            threading.Event().wait(0.01)
    assert after.asked.measured == [taken.sha256]


def test_what_another_program_says_of_a_clip_is_in_the_next_answer(served, tmp_path):
    (tmp_path / "throw.mp4").write_bytes(MP4)
    (taken,) = add_clips(served.logbook, [tmp_path / "throw.mp4"], served.session)

    def told():
        (row,) = served.client.get(f"/s/{served.session}/progress").json()["clips"]
        return row["said"]

    assert told() == "waiting to be measured"
    other = open_logbook(served.logbook.folder)
    set_aside(other, taken.sha256, "cut off")
    other.engine.dispose()
    assert told() == "set aside: cut off"


def test_the_answer_about_1000_clips_goes_through_each_in_a_few_calls(served):
    def calls(clips):
        """Of functions, the handler's thread among them, in one answer about this many linked clips."""
        fixed = {"session": served.session, "ext": ".mp4", "bytes": 1, "camera": "", "state": "measured"}
        with writing(served.logbook) as connection:
            connection.execute(delete(t.clips))
            names = [{"sha256": f"{i:064x}", "name": f"{i}.mp4", "taken_in": f"{i:04}"} for i in range(clips)]
            connection.execute(insert(t.clips), [fixed | name for name in names])
        linked = {"throw": None, "flight": None, "probability": 0.9, "state": "linked", "why": "time"}
        save_links(served.logbook, served.session, [{"clip": name["sha256"], **linked} for name in names])
        made = 0

        def count(_frame, event, _argument):
            nonlocal made
            made += event == "call"

        async def asked():
            as_before = {"base_url": served.address, "cookies": served.client.cookies}
            async with httpx.AsyncClient(transport=httpx.ASGITransport(served.app), **as_before) as client:
                answer = await client.get(f"/s/{served.session}/progress")
            assert len(answer.json()["clips"]) == clips

        threading.setprofile(count)
        sys.setprofile(count)
        try:
            asyncio.run(asked())
        finally:
            sys.setprofile(None)
            threading.setprofile(None)
        return made

    calls(10)  # the first answer prepares its queries
    assert (calls(1000) - calls(10)) / 990 < 8
