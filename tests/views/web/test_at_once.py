"""Two people, or two quick clicks, on the same thing at once: every word is kept once and none is lost."""

import threading
import uuid
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import httpx
import pytest

from release.record import read
from release.views.web import serve_decisions
from tests.record.filled import fill
from tests.views.web.served import page

AT_ONCE = 6


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    folder = tmp_path_factory.mktemp("at_once")
    with page(folder / "logbook") as served, pytest.MonkeyPatch.context() as patch:
        session, clips = fill(served.logbook, folder)
        size = SimpleNamespace(width_px=640, height_px=480, focal_35mm=None)
        patch.setattr(serve_decisions, "open_clip", lambda _path: size)
        yield served, session, clips


def at_once(served, path, bodies):
    """Every body posted by a connection of its own, all let go together; the answers."""
    gate = threading.Barrier(len(bodies))

    def send(body):
        with httpx.Client(
            base_url=served.address,
            headers={"Origin": served.address},
            cookies=served.client.cookies,
            timeout=60,
        ) as client:
            gate.wait()
            return client.post(path, json=body)

    with ThreadPoolExecutor(len(bodies)) as pool:
        return list(pool.map(send, bodies))


PLACES = ("release", "landmark", "verdict", "link", "tag", "camera")


def posts(session, clips):
    """What is posted where, with the kind of fact that it becomes."""
    link = {"said": "confirmed", "clip": clips[1], "throw": 2, "flight": "2"}
    marks = {"clip": clips[0], "marks": [{"name": "rubber front left", "x_px": 1, "y_px": 1}]}
    return {
        f"/clip/{clips[1]}/release": ("release set", {"frame_index": 5}),
        f"/clip/{clips[1]}/landmark": (
            "landmark pinned",
            {"frame_index": 3, "point": "wrist", "x_px": 1, "y_px": 1},
        ),
        f"/clip/{clips[1]}/verdict": ("clip accepted", {"accepted": True}),
        f"/s/{session}/link": ("link confirmed", link),
        f"/s/{session}/tag": ("throw tagged", {"throws": [3], "value": {"cue": "whip"}}),
        f"/s/{session}/camera": ("camera marked", marks),
    }


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("same", [True, False], ids=["one word sent many times", "many words"])
def test_what_is_said_at_once_is_kept_each_word_once(filled, place, same):
    served, session, clips = filled
    path, (kind, body) = next(one for one in posts(session, clips).items() if one[0].endswith(place))

    def count():
        return sum(fact["kind"] == kind for fact in read.facts(served.logbook, session=session))

    before, one = count(), uuid.uuid4().hex
    facts = [one if same else uuid.uuid4().hex for _ in range(AT_ONCE)]
    answers = at_once(served, path, [{"fact": fact, **body} for fact in facts])
    assert {answer.status_code for answer in answers} == {200}, [a.text for a in answers]
    assert count() - before == len(set(facts))


def test_undone_by_two_at_once_it_is_undone(filled):
    served, session, clips = filled
    fact = uuid.uuid4().hex
    served.client.post(f"/clip/{clips[1]}/verdict", json={"fact": fact, "accepted": True})
    answers = at_once(served, f"/fact/{fact}/undo", [{"fact": uuid.uuid4().hex} for _ in range(AT_ONCE)])
    assert {answer.status_code for answer in answers} == {200}
    assert fact not in {one["fact"] for one in read.facts(served.logbook, session=session)}


def test_a_session_made_by_two_at_once_is_one(filled):
    served, _, _ = filled
    answers = at_once(served, "/session", [{"name": "evening"}] * AT_ONCE)
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.json()["session"] for answer in answers}) == 1


def test_one_clip_dropped_by_two_at_once_is_one_clip(filled):
    served, session, _ = filled
    content, gate = b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom", threading.Barrier(4)

    def drop(_):
        with httpx.Client(
            base_url=served.address, headers={"Origin": served.address}, cookies=served.client.cookies
        ) as client:
            gate.wait()
            return client.put(f"/s/{session}/drop?kind=clip", content=content)

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(drop, range(4)))
    assert {answer.status_code for answer in answers} == {200}, [a.text for a in answers]
    assert [answer.json()["new"] for answer in answers].count(True) == 1
    assert served.asked.measured.count(answers[0].json()["sha256"]) == 1
