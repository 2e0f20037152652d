"""A page that is open shows what others say, whenever they say it and whatever the connection does."""

import uuid
from dataclasses import replace

import pytest

from tests.record.filled import fill
from tests.views.web.served import Asked, one_doubt, page, somebody

pytestmark = [pytest.mark.system, pytest.mark.timeout(400)]


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("missed")
    with page(folder / "logbook", lambda: replace(Asked().steps(), link=lambda *_: one_doubt())) as running:
        session, _ = fill(running.logbook, folder)
        yield running, f"/s/{session}"


def say(served, cue):
    """Somebody else writes a cue on throw 2, which every page shows."""
    running, at = served
    tagged = {"fact": uuid.uuid4().hex, "throws": [2], "value": {"cue": cue}}
    assert running.client.post(f"{at}/tag", json=tagged).status_code == 200


def shown(cue):
    return f"main :is(h2, td, th, .side):has-text('{cue}')"


@pytest.mark.parametrize("place", ["", "/links", "/tags", "/live"])
def test_a_word_said_after_the_page_was_made_and_before_its_script_runs_is_shown(browser, served, place):
    tab, cue = somebody(browser, served[0]), f"said on the way to {place}"

    def late(route):
        if not said:
            said.append(say(served, cue))
        route.continue_()

    said = []
    tab.goto(served[1] + place)
    tab.route("**/static/talk.js", late)
    tab.reload()
    assert said
    tab.wait_for_selector(shown(cue), timeout=20_000)
    assert tab.wrong == []
    tab.context.close()


@pytest.mark.parametrize("broken", ["progress", "wall"])
@pytest.mark.parametrize("how", ["refused", "cut"])
def test_a_word_said_while_the_connection_is_broken_is_shown_once_it_is_back(browser, served, broken, how):
    tab, cue = somebody(browser, served[0]), f"said while {broken} was {how}"

    def breaks(route):
        failed.append(route.request.url)
        if len(failed) > 2:
            route.continue_()
        elif how == "cut":
            route.abort()
        else:
            route.fulfill(status=503, body="busy")

    failed = []
    tab.goto(served[1])
    tab.route(f"**/{broken}", breaks)
    while broken == "progress" and not failed:  # a question asked before it broke would still be answered
        tab.wait_for_timeout(50)
    say(served, cue)
    tab.wait_for_selector(shown(cue), timeout=20_000)
    assert len(failed) > 2
    assert "busy" not in tab.inner_text("#wall")
    tab.context.close()
