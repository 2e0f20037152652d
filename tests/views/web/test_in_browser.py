"""The whole job in a browser: take in, review, correct, link, tag, compare, cage screen, camera marks."""

import re
from pathlib import Path

import pytest

from release.orientation.result import JOINT_ANGLES
from release.page_steps import page_steps
from release.record.read import facts, links
from tests.views.web.served import page, somebody

SAMPLES = Path(__file__).parents[3] / "sample_clips"
CLIPS = [SAMPLES / f"throw_{n:02}.mp4" for n in range(1, 11)]
LONG_MS = 400_000
MIDDLE_KNUCKLE = """async () => {
  const canvas = document.getElementById('frame'), box = canvas.getBoundingClientRect();
  const clip = JSON.parse(document.getElementById('review').dataset.clip);
  const arm = await (await fetch(`/clip/${clip.sha256}/arm`)).json();
  const [x, y] = arm.frames[clip.pictureFrame].points.middle_mcp;
  const k = Math.min(box.width / canvas.width, box.height / canvas.height) * canvas.height / 720;
  return [box.left + (box.width - 1280 * k) / 2 + x * k, box.top + (box.height - 720 * k) / 2 + y * k];
}"""

pytestmark = [pytest.mark.system, pytest.mark.timeout(900)]


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    with page(tmp_path_factory.mktemp("browser") / "logbook", page_steps) as running:
        yield running


@pytest.fixture(scope="module")
def tab(browser, served):
    """A session with ten clips, the sheet and the flight file, all taken in on the page."""
    opened = somebody(browser, served)
    opened.click("text=a session")
    opened.set_input_files("#pick-sheet", SAMPLES / "sheet.csv")
    opened.set_input_files("#pick-flight", SAMPLES / "flight.csv")
    opened.set_input_files("#pick-clip", [*CLIPS, SAMPLES / "cut_short.mp4"])
    for step in ("uploading", "finding release", "measuring", "done"):
        opened.wait_for_selector(f"#progress td:text-matches('^{step}')", timeout=LONG_MS)
    opened.wait_for_selector(".card img >> nth=9", timeout=LONG_MS, state="attached")
    opened.wait_for_selector("#progress >> text=/set aside: .*cut off/", timeout=LONG_MS)
    yield opened
    assert opened.wrong == []


def review(tab, served, name="throw_03.mp4"):
    tab.goto(f"/s/{served.session}")
    tab.click(f".card:has-text('{name}') a, .card:has-text('Throw {int(name[6:8])} ') a")
    tab.wait_for_selector("#review[data-loaded]", timeout=LONG_MS)
    tab.wait_for_selector("#review[data-arm]", timeout=LONG_MS)
    return tab.locator("#review")


def kinds(served):
    return [fact["kind"] for fact in facts(served.logbook, session=served.session)]


def angle(tab, figure):
    return tab.inner_text(f"tr[data-figure={figure}] td >> nth=1")


def test_keys_step_single_frames_and_ten_and_jump_back_to_release(tab, served):
    shown = review(tab, served)
    start = int(shown.get_attribute("data-at"))
    for key, at in [("ArrowRight", 1), ("Shift+ArrowRight", 11), ("Shift+ArrowLeft", 1), ("ArrowLeft", 0)]:
        tab.keyboard.press(key)
        assert int(shown.get_attribute("data-at")) == start + at
    tab.keyboard.press("Shift+ArrowRight")
    tab.keyboard.press("r")
    assert int(shown.get_attribute("data-at")) == start


def test_angles_beside_the_picture_change_with_the_frame(tab, served):
    review(tab, served)
    here = "tr[data-figure=wrist_flexion] .here"
    at_release = tab.inner_text(here)
    tab.keyboard.press("Shift+ArrowLeft")
    assert tab.inner_text(here) != at_release
    assert re.fullmatch(r"−?\d+°", at_release)


def test_playing_slowly_moves_on_and_stops(tab, served):
    shown = review(tab, served)
    start = int(shown.get_attribute("data-at"))
    tab.keyboard.press("Space")
    while int(shown.get_attribute("data-at")) < start + 2:
        tab.wait_for_timeout(20)
    tab.keyboard.press("Space")
    assert tab.get_attribute("[data-do=play]", "aria-pressed") == "false"


def test_release_set_by_a_person_holds_beside_the_machines_own_and_can_be_undone(tab, served):
    review(tab, served)
    kept = tab.locator(".kept dd")
    own = kept.nth(1).inner_text()
    tab.keyboard.press("ArrowRight")
    with tab.expect_navigation(timeout=LONG_MS):
        tab.keyboard.press("s")
    tab.wait_for_selector("#review[data-loaded]")
    assert "chosen by hand" in kept.nth(0).inner_text()
    assert kept.nth(1).inner_text() == own
    assert "K.M." in tab.inner_text("#facts")
    with tab.expect_navigation(timeout=LONG_MS):
        tab.keyboard.press("u")
    tab.wait_for_selector("#review[data-loaded]")
    assert kept.nth(0).inner_text() == own
    assert "release set" not in kinds(served)


def angles(tab):
    return {name: angle(tab, name) for name in JOINT_ANGLES}


def test_a_dragged_landmark_changes_the_angles_and_undoing_brings_them_back(tab, served):
    review(tab, served, "throw_04.mp4")
    before = angles(tab)
    place = tab.evaluate(MIDDLE_KNUCKLE)
    tab.mouse.move(*place)
    tab.mouse.down()
    tab.mouse.move(place[0] + 60, place[1] + 24, steps=4)
    with tab.expect_navigation(timeout=LONG_MS):
        tab.mouse.up()
    tab.wait_for_selector("#review[data-loaded]")
    assert "landmark pinned" in tab.inner_text("#facts")
    assert angle(tab, "wrist_deviation") != before["wrist_deviation"]
    with tab.expect_navigation(timeout=LONG_MS):
        tab.keyboard.press("u")
    tab.wait_for_selector("#review[data-loaded]")
    assert angles(tab) == before


def test_a_landmark_can_be_moved_without_a_mouse(tab, served):
    review(tab, served, "throw_05.mp4")
    for key in ("t", "t", "t", *["Alt+ArrowRight"] * 6):
        tab.keyboard.press(key)
    with tab.expect_navigation(timeout=LONG_MS):
        tab.keyboard.press("Enter")
    tab.wait_for_selector("#review[data-loaded]")
    assert "landmark pinned" in tab.inner_text("#facts")
    assert "wrist" in tab.inner_text("#facts")


def test_reject_says_why_and_undo_takes_it_back(tab, served):
    review(tab, served, "throw_06.mp4")
    tab.keyboard.press("x")
    tab.fill("[name=why]", "hand hidden")
    with tab.expect_navigation():
        tab.keyboard.press("Enter")
    assert "rejected" in tab.inner_text("#verdict")
    assert "hand hidden" in tab.inner_text("#facts")
    with tab.expect_navigation():
        tab.keyboard.press("u")
    assert tab.inner_text("#verdict") == ""


def test_two_people_see_each_others_decisions_and_lose_none(tab, browser, served):
    other = somebody(browser, served, "O.P.")
    review(tab, served, "throw_07.mp4")
    review(other, served, "throw_07.mp4")
    wall = somebody(browser, served, "Q.R.")
    wall.goto(f"/s/{served.session}")
    tab.keyboard.press("a")
    other.wait_for_selector("#facts >> text=K.M.")  # without being asked to load again
    wall.wait_for_selector(".card .verdict >> text=accepted")
    other.keyboard.press("x")
    other.click("#why-rejected button.main")
    tab.wait_for_selector("#facts >> text=O.P.")
    wall.wait_for_selector(".card .verdict >> text=rejected")
    for somebodys in (tab, other):
        somebodys.wait_for_selector("#verdict >> text=rejected")
        assert "K.M." in somebodys.inner_text("#facts")
        assert "O.P." in somebodys.inner_text("#facts")
    for theirs in (other, wall):
        assert theirs.wrong == []
        theirs.context.close()


def test_clips_are_linked_and_what_is_doubtful_is_asked(tab, served):
    tab.goto(f"/s/{served.session}/links")
    made = links(served.logbook, served.session)
    linked = (made["state"] == "linked").sum()
    assert f"{linked} links were made without doubt" in tab.inner_text("main")
    assert tab.locator("#asked li[data-kind]").count() == (made["state"] == "asked").sum()
    assert linked >= 9


def test_a_cue_is_written_on_several_throws_at_once_and_offered_next_time(tab, served):
    tab.goto(f"/s/{served.session}/tags")
    for throw in (1, 2):
        tab.check(f"[aria-label='Throw {throw}']")
    tab.fill("[name=cue]", "<img src=x onerror=alert(1)>")
    with tab.expect_navigation():
        tab.click("text=Write >> nth=-1")
    assert tab.locator("td:has-text('onerror')").count() == 2
    assert tab.locator("main img").count() == 0  # said as text, not run
    assert tab.get_attribute("#recent-cue option >> nth=0", "value") == "<img src=x onerror=alert(1)>"


def test_two_throws_side_by_side_with_differences_and_intervals(tab, served):
    tab.goto(f"/s/{served.session}/compare")
    tab.select_option("[name=a]", index=1)
    tab.select_option("[name=b]", index=2)
    with tab.expect_navigation():
        tab.click("text=Show >> nth=0")
    tab.wait_for_selector(".two[data-drawn='2']", timeout=LONG_MS)
    row = tab.inner_text("table.figures tbody tr >> nth=0")
    assert re.search(r"[+−]\d+° to [+−]?\d+°|[+−]?\d+ to [+−]?\d+°", row)


def test_the_cage_screen_follows_and_reminds_of_the_limit(tab, served):
    tab.goto(f"/s/{served.session}/live")
    assert "league's limit" in tab.inner_text(".count")
    assert tab.locator(".huge dt").count() >= 4


def test_camera_marks_are_kept_and_come_back_as_a_file(tab, served):
    tab.goto(f"/s/{served.session}/camera")
    tab.wait_for_selector("#camera[data-ready]")
    tab.click("#place", position={"x": 500, "y": 200})
    tab.focus("#place")
    tab.keyboard.press("Shift+ArrowRight")
    tab.keyboard.press("Enter")
    with tab.expect_response(lambda answer: answer.request.method == "POST") as kept:
        tab.click("#keep")
    assert kept.value.ok
    file = served.client.get(f"/s/{served.session}/camera.toml").text
    assert 'name = "rubber front left"' in file
    assert 'name = "rubber front right"' in file


def test_hand_against_ball_is_drawn_and_exported(tab, served):
    tab.goto(f"/s/{served.session}/hand-and-ball?angle=wrist_flexion")
    assert tab.evaluate("document.querySelector('img.chart').naturalWidth") > 0
    text = served.client.get(f"/s/{served.session}/hand-and-ball.csv?angle=wrist_flexion").text
    assert text.startswith("athlete,pitch,cue,wrist_flexion_deg,wrist_flexion_deg_sd,horizontal_break_in\r\n")


def test_a_file_chosen_before_the_page_is_ready_is_taken_in(browser, served):
    opened, waiting = somebody(browser, served, "S.T."), []
    opened.route("**/take_in.js*", lambda route: waiting.append(route))
    opened.goto(f"/s/{served.session}", wait_until="commit")
    opened.wait_for_selector("#pick-sheet", state="attached")
    opened.set_input_files("#pick-sheet", SAMPLES / "sheet.csv")
    while not waiting:
        opened.wait_for_timeout(20)
    waiting.pop().continue_()
    opened.wait_for_selector("#progress td:text-matches('rows taken in')")
    assert opened.wrong == []
    opened.context.close()
