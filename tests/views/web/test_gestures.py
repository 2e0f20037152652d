"""What hands do in a browser: drop files, touch, zoom; on a real clip with an arm given, so it is quick."""

import shutil
import time
from dataclasses import replace
from pathlib import Path

import pytest

from release.record import read, write
from release.record.write_clips import add_clips
from tests.record.filled import fill, measured
from tests.views.web.served import Asked, one_doubt, page, somebody

SAMPLES = Path(__file__).parents[3] / "sample_clips"
PAGES = ("links", "tags", "compare", "live", "camera", "hand-and-ball", "read-again")
FRAME = 3  # of release, as `measured` has it
ARM = {"shoulder": [400, 600], "elbow": [500, 450], "wrist": [600, 300], "middle_mcp": [640, 240]}
DROPPED = """async ([names, contents]) => {
  const files = new DataTransfer();
  names.forEach((name, i) => files.items.add(new File([contents[i]], name)));
  for (const kind of ['dragover', 'drop']) {
    document.getElementById('drop').dispatchEvent(
      new DragEvent(kind, { dataTransfer: files, bubbles: true, cancelable: true }));
  }
}"""
PLACE = """([x, y]) => {
  const canvas = document.getElementById('frame'), box = canvas.getBoundingClientRect();
  const k = Math.min(box.width / canvas.width, box.height / canvas.height) * canvas.height / 720;
  return [box.left + (box.width - 1280 * k) / 2 + x * k, box.top + (box.height - 720 * k) / 2 + y * k];
}"""
PIXELS = "document.getElementById('frame').toDataURL()"

pytestmark = [pytest.mark.system, pytest.mark.timeout(400)]


def drawing(_logbook, _sha256):
    shown = {"points": ARM, "palm": [[620, 270], [700, 270]], "angles": {"wrist_flexion": 1.0}}
    return {"frames": {FRAME: shown}, "spread": {"frame": FRAME, "palm": [], "forearm": []}}


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    asked = Asked()
    folder = tmp_path_factory.mktemp("gestures")
    with page(folder / "logbook", lambda: replace(asked.steps(), drawing=drawing)) as running:
        shutil.copy(SAMPLES / "throw_03.mp4", folder)
        (taken,) = add_clips(running.logbook, [folder / "throw_03.mp4"], running.session)
        write.save_measurement(running.logbook, measured(taken.sha256))
        yield replace(running, asked=asked), taken.sha256


def reviewing(browser, served, **context):
    running, sha256 = served
    tab = somebody(browser, running, **context)
    tab.goto(f"/s/{running.session}/review/{sha256}?at={FRAME}")
    tab.wait_for_selector("#review[data-loaded]")
    tab.wait_for_selector("#review[data-arm]")
    return tab


def test_no_page_asks_anybody_else_for_anything(browser, served):
    running, sha256 = served
    tab, asked = somebody(browser, running), []
    tab.on("request", lambda request: asked.append(request.url))
    at = f"/s/{running.session}"
    for path in ("/", at, *(f"{at}/{name}" for name in (*PAGES, f"review/{sha256}"))):
        tab.goto(path)
        tab.wait_for_load_state("networkidle")
    assert {url for url in asked if not url.startswith((running.address, "blob:"))} == set()
    assert len(asked) > 30
    assert tab.wrong == []


def test_files_dropped_at_once_go_each_where_it_belongs(browser, served):
    running, _ = served
    tab = somebody(browser, running)
    tab.goto(f"/s/{running.session}")
    sent = []
    tab.on("request", lambda request: sent.append(request.url) if request.method == "PUT" else None)
    clip = "\0\0\0\x18ftypmp42\0\0\0\0mp42isom"
    names = ["throw.MP4", "throw sheet.csv", "unit.csv", "plan.toml"]
    tab.evaluate(DROPPED, [names, [clip, "throw\n1\n", "flight\n1\n", "unit = 1"]])
    for name, said in zip(
        names, ("waiting to be measured|taken in|done", "read", "read", "read"), strict=True
    ):
        tab.wait_for_selector(f"#progress tr:has-text('{name}') td:text-matches('{said}')")
    assert [url.split("=")[-1] for url in sent] == ["clip", "sheet", "flight", "plan"]
    assert tab.wrong == []


def test_what_is_no_file_is_not_taken_and_one_is_told(browser, served):
    running, _ = served
    tab = somebody(browser, running)
    tab.goto(f"/s/{running.session}")
    tab.evaluate(DROPPED, [[], []])
    assert tab.inner_text("#said") == "Only files can be dropped here."


def test_the_arm_can_be_hidden_and_the_hand_seen_close(browser, served):
    tab = reviewing(browser, served)
    drawn = tab.evaluate(PIXELS)
    tab.keyboard.press("z")
    close = tab.evaluate(PIXELS)
    tab.keyboard.press("z")
    assert tab.evaluate(PIXELS) == drawn
    tab.keyboard.press("d")
    assert len({drawn, close, tab.evaluate(PIXELS)}) == 3
    assert tab.get_attribute("[data-do=drawing]", "aria-pressed") == "false"


def test_a_finger_drags_a_landmark(browser, served):
    running, sha256 = served
    tab = reviewing(browser, served, size=(820, 1180), has_touch=True)
    finger = tab.context.new_cdp_session(tab)

    def touch(kind, *places):
        points = [dict(zip("xy", tab.evaluate(PLACE, place), strict=True)) for place in places]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", ARM["elbow"])
    touch("touchMove", [520, 455])
    touch("touchMove", [530, 460])
    with tab.expect_response(lambda answer: answer.url.endswith("/landmark")) as kept:
        touch("touchEnd")
    assert kept.value.ok
    value = read.facts(running.logbook, clip=sha256)[-1]["value"]
    assert value["point"] == "elbow"
    assert (value["x_px"], value["y_px"]) == pytest.approx((530, 460), abs=3)


def test_a_tap_steps_and_accepts(browser, served):
    running, sha256 = served
    tab = reviewing(browser, served, size=(820, 1180), has_touch=True)
    tab.tap("[data-do=on]")
    assert tab.get_attribute("#review", "data-at") == str(FRAME + 1)
    with tab.expect_navigation():
        tab.tap("[data-do=accept]")
    assert read.facts(running.logbook, clip=sha256)[-1]["kind"] == "clip accepted"


@pytest.mark.parametrize(
    ("key", "kind"), [("1", "link confirmed"), ("0", "link rejected"), ("e", "marked extra")]
)
def test_one_key_says_where_a_doubtful_clip_belongs(browser, tmp_path, key, kind):
    steps = replace(Asked().steps(), link=lambda *_: one_doubt())
    with page(tmp_path / "logbook", lambda: steps) as running:
        session, clips = fill(running.logbook, tmp_path)
        tab = somebody(browser, running)
        tab.goto(f"/s/{session}/links")
        with tab.expect_navigation():
            tab.keyboard.press(key)
        said = read.facts(running.logbook, session=session)[-1]
        assert (said["kind"], said["clip"], said["who"]) == (kind, clips[0], "K.M.")
        assert (said["throw"], said["flight"]) == ((None, None) if key == "e" else (2, "3"))
        assert tab.wrong == []
        tab.context.close()


def test_what_another_person_says_is_seen_without_loading_again(browser, served):
    running, _ = served
    tab, wall = reviewing(browser, served), somebody(browser, running, "W.W.")
    wall.goto(f"/s/{running.session}")
    other = reviewing(browser, served, who="O.P.")
    other.keyboard.press("x")
    other.fill("[name=why]", "hand hidden")
    other.keyboard.press("Enter")
    tab.wait_for_selector("#facts >> text=hand hidden")
    assert "O.P." in tab.inner_text("#facts")
    wall.wait_for_selector(".card .verdict >> text=rejected")
    tab.wait_for_selector(f"#review[data-at='{FRAME}']")  # loaded anew, at the frame it showed
    assert [*tab.wrong, *other.wrong, *wall.wrong] == []


def test_ones_own_word_on_its_way_is_not_taken_for_another_persons(browser, served):
    tab, cut_off = reviewing(browser, served), []

    def slow(route):
        answer = route.fetch()  # written, while the page has not heard of it yet and goes on asking
        time.sleep(4)
        route.fulfill(response=answer)

    tab.route("**/verdict", slow)
    tab.on("requestfailed", lambda request: cut_off.append(request.url))
    tab.keyboard.press("a")
    tab.wait_for_selector("#verdict >> text=accepted")
    assert [url for url in cut_off if url.endswith("/verdict")] == [], "the page was left before its answer"
    assert tab.wrong == []
