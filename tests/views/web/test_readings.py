"""The page on which clips are read again, blind."""

import re
import uuid
from pathlib import Path

import pytest

from release.record import read, write
from release.record.write_clips import add_clips
from tests.record.filled import fill, measured
from tests.views.web.served import page, somebody

SAMPLE = Path(__file__).parents[3] / "sample_clips" / "throw_03.mp4"
POINTS = {"wrist": {"x_px": 10.0, "y_px": 20.0}}


@pytest.fixture
def served(tmp_path):
    with page(tmp_path / "logbook") as running:
        yield running


def shown_clip(served, session):
    text = served.client.get(f"/s/{session}/read-again").text
    return re.search(r"[0-9a-f]{64}", text).group(), text


def keep(served, clip, frame_index=3):
    body = {"fact": uuid.uuid4().hex, "frame_index": frame_index, "points": POINTS}
    return served.client.post(f"/clip/{clip}/reading", json=body)


def test_nothing_of_the_first_reading_is_shown(served, tmp_path):
    session, clips = fill(served.logbook, tmp_path)
    write.add_fact(
        served.logbook, "release set", who="X", session=session, clip=clips[0], value={"frame_index": 4}
    )
    _, text = shown_clip(served, session)
    for told in ("arm drawn", "cue", "Throw ", ".mp4", "points_px", "&#34;release&#34;", "3.5", "A1"):
        assert told not in text


def test_every_clip_comes_once_before_any_comes_again(served, tmp_path):
    session, clips = fill(served.logbook, tmp_path)
    seen = []
    for _ in range(len(clips)):
        clip, text = shown_clip(served, session)
        assert "time 1 for T.T." in text
        keep(served, clip).raise_for_status()
        seen.append(clip)
    assert sorted(seen) == sorted(clips)
    assert seen != clips
    assert "time 2 for T.T." in shown_clip(served, session)[1]


def test_a_reading_is_a_fact_that_asks_for_no_measuring(served, tmp_path):
    session, clips = fill(served.logbook, tmp_path)
    keep(served, clips[0]).raise_for_status()
    fact = read.facts(served.logbook, session=session)[-1]
    assert (fact["kind"], fact["who"], fact["clip"]) == ("read again", "T.T.", clips[0])
    assert fact["value"] == {"frame_index": 3, "points": POINTS}
    assert served.asked.corrected == []
    assert keep(served, "0" * 64).status_code == 404
    empty = {"fact": uuid.uuid4().hex, "frame_index": 3, "points": {}}
    assert served.client.post(f"/clip/{clips[0]}/reading", json=empty).status_code == 422


@pytest.mark.system
def test_stepping_calling_release_and_placing_a_point_keeps_them(browser, served):
    (taken,) = add_clips(served.logbook, [SAMPLE], served.session)
    write.save_measurement(served.logbook, measured(taken.sha256))
    tab = somebody(browser, served)
    tab.goto(f"/s/{served.session}/read-again")
    tab.wait_for_selector("#reading[data-loaded]")
    tab.keyboard.press("Shift+ArrowRight")
    tab.keyboard.press("s")
    tab.click("[data-point=wrist]")
    box = tab.locator("#frame").bounding_box()
    tab.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.click("[data-point=ball]")
    tab.locator("#frame").focus()
    for key in ("Enter", "Alt+Shift+ArrowUp", "Alt+ArrowRight"):
        tab.keyboard.press(key)
    with tab.expect_navigation():
        tab.keyboard.press("n")
    (fact,) = read.facts(served.logbook, session=served.session)
    assert fact["value"]["frame_index"] == 10
    place = fact["value"]["points"]["wrist"]
    assert (place["x_px"], place["y_px"]) == (pytest.approx(640, abs=2), pytest.approx(360, abs=2))
    assert fact["value"]["points"]["ball"] == {"x_px": 641.0, "y_px": 340.0}
    assert tab.wrong == []
