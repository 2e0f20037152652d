"""Every page can be used by keyboard, by screen reader, outdoors and at 200 %: checked in a browser.

axe-core checks what it knows of WCAG 2.2 (names, contrast, headings, sizes); the rest is checked here.
"""

import pytest

from tests.record.filled import fill
from tests.views.web.served import page, somebody

axe = pytest.importorskip("axe_playwright_python.sync_playwright")
pytestmark = [pytest.mark.system, pytest.mark.timeout(600)]
PAGES = (
    *("", "/links", "/tags", "/compare?a={a}&b={b}", "/live", "/camera", "/hand-and-ball", "/review/{a}"),
    "/read-again",
)

# axe-core leaves the size of what is pressed (WCAG 2.5.8) unasked where nobody asks for it.
RULES = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}
# 2.4.7: what has the focus is outlined; a file chooser's label is, since the chooser itself is not shown.
FOCUS = """() => {
  const e = document.activeElement, all = [...document.querySelectorAll('*')];
  const style = getComputedStyle(e.type === 'file' ? e.parentElement : e);
  const seen = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
  return { at: all.indexOf(e), seen, html: e.outerHTML.slice(0, 100) };
}"""


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("accessible")
    with page(folder / "logbook") as running:
        session, clips = fill(running.logbook, folder)
        yield running, {"session": session, "a": clips[0], "b": clips[1]}


def opened(browser, served, scheme="light", size=(1366, 768)):
    return somebody(browser, served[0], size=size, color_scheme=scheme)


def address(served, path):
    _, names = served
    return f"/s/{names['session']}" + path.format(**names)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1366, 850), (820, 1180)], ids=["laptop", "tablet"])
def test_axe_finds_nothing_on_any_page(browser, served, scheme, size):
    tab = opened(browser, served, scheme, size)
    places = ["/", "/login", *[address(served, path) for path in PAGES], f"/s/{served[0].session}"]
    for place in places:
        tab.goto(place)
        found = axe.Axe().run(tab, options=RULES)
        assert found.response["violations"] == [], (place, found.generate_report())
    tab.context.close()


@pytest.mark.parametrize("width", [683, 420], ids=["200 % on a laptop", "a phone"])
def test_no_page_is_wider_than_the_screen(browser, served, width):
    tab = opened(browser, served, size=(width, 700))
    for path in PAGES:
        tab.goto(address(served, path))
        assert tab.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0, path
    tab.context.close()


def test_the_tab_key_goes_through_a_page_in_its_order_and_one_sees_where(browser, served):
    tab = opened(browser, served)
    for path in PAGES:
        tab.goto(address(served, path))
        tab.evaluate("() => document.activeElement.blur()")
        order = []
        for _ in range(60):
            tab.keyboard.press("Tab")
            here = tab.evaluate(FOCUS)
            if order and here["at"] <= order[0]:
                break
            assert here["seen"], (path, here["html"])
            order.append(here["at"])
        assert order == sorted(order), path
        assert len(order) > 5, path
    tab.context.close()
