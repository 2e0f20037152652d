"""Every page can be used by keyboard, by screen reader, outdoors and at 200 %: checked in a browser.

Rules of WCAG 2.2, level AA, each named beside its check.
"""

from itertools import pairwise

import pytest

from tests.record.filled import fill
from tests.views.web.served import TOKEN, page

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = [pytest.mark.system, pytest.mark.timeout(300)]
PAGES = ("", "/links", "/tags", "/compare?a={a}&b={b}", "/live", "/camera", "/hand-and-ball", "/review/{a}")

# 1.1.1 and 4.1.2: what has no name a screen reader can say.
NAMELESS = """() => [...document.querySelectorAll('a, button, input, select, textarea, canvas, img, summary')]
  .filter((e) => e.offsetParent !== null && e.type !== 'hidden')
  .filter((e) => !(e.getAttribute('aria-label') || e.alt || (e.labels && e.labels.length) || e.title
    || (!/^(INPUT|SELECT|TEXTAREA|IMG|CANVAS)$/.test(e.tagName) && e.textContent.trim())))
  .map((e) => e.outerHTML.slice(0, 120))"""

# 1.4.3: contrast of text of at least 4.5, or 3 where it is large.
FAINT = """() => {
  const parse = (c) => { const v = c.match(/[\\d.]+/g).map(Number); return [v[0], v[1], v[2], v[3] ?? 1]; };
  const light = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92
    : ((v + 0.055) / 1.055) ** 2.4).reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const over = (top, below) => [0, 1, 2].map((i) => top[i] * top[3] + below[i] * (1 - top[3])).concat(1);
  const ground = (e) => { for (let at = e; at; at = at.parentElement) {
    const c = parse(getComputedStyle(at).backgroundColor);
    if (c[3] > 0) return over(c, at.parentElement ? ground(at.parentElement) : [255, 255, 255, 1]); }
    return [255, 255, 255, 1]; };
  const opacity = (e) => (e ? getComputedStyle(e).opacity * opacity(e.parentElement) : 1);
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || !e.getClientRects().length || e.closest('canvas, script')) continue;
    const style = getComputedStyle(e), below = ground(e), ink = parse(style.color);
    ink[3] *= opacity(e);
    const [a, b] = [light(over(ink, below)), light(below)].sort((x, y) => y - x);
    const size = parseFloat(style.fontSize), large = size >= 24 || (size >= 18.66 && style.fontWeight >= 700);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < (large ? 3 : 4.5)) found.push(`${ratio.toFixed(2)}: ${e.textContent.trim().slice(0, 60)}`);
  }
  return found;
}"""

# 2.5.8: what can be pressed is at least 24 px high and wide, links in running text apart.
SMALL = """() => [...document.querySelectorAll('button, select, input:not([type=file]), a.button, nav a')]
  .filter((e) => e.offsetParent !== null).map((e) => [e.getBoundingClientRect(), e.outerHTML.slice(0, 100)])
  .filter(([box]) => box.width < 24 || box.height < 24).map(([, html]) => html)"""

# 1.3.1 and 2.4.6: one title of the page, no level left out, no id twice.
HEADINGS = "() => [...document.querySelectorAll('h1, h2, h3')].map((e) => Number(e.tagName[1]))"
TWICE = """() => {
  const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
  return ids.length - new Set(ids).size;
}"""
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


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as api:
        started = api.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield started
        started.close()


def opened(browser, served, scheme="light", size=(1366, 768)):
    running, _ = served
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, base_url=running.address
    )
    tab = context.new_page()
    tab.goto(f"/login?token={TOKEN}")
    tab.fill("[name=who]", "A.B.")
    tab.click("form button")
    tab.wait_for_selector("text=Sessions")
    return tab


def address(served, path):
    _, names = served
    return f"/s/{names['session']}" + path.format(**names)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_from_its_ground(browser, served, scheme):
    tab = opened(browser, served, scheme)
    for path in PAGES:
        tab.goto(address(served, path))
        assert tab.evaluate(FAINT) == [], path
    tab.context.close()


def test_everything_has_a_name_that_can_be_read_aloud(browser, served):
    tab = opened(browser, served)
    for path in PAGES:
        tab.goto(address(served, path))
        assert tab.evaluate(NAMELESS) == [], path
        assert tab.get_attribute("html", "lang") == "en"
        assert tab.title()
    tab.context.close()


def test_headings_are_in_order_and_ids_are_single(browser, served):
    tab = opened(browser, served)
    for path in PAGES:
        tab.goto(address(served, path))
        levels = tab.evaluate(HEADINGS)
        assert levels.count(1) == 1, path
        assert all(b - a <= 1 for a, b in pairwise(levels)), (path, levels)
        assert tab.evaluate(TWICE) == 0, path
    tab.context.close()


def test_what_is_pressed_is_large_enough_for_a_finger(browser, served):
    tab = opened(browser, served, size=(820, 1180))
    for path in PAGES:
        tab.goto(address(served, path))
        assert tab.evaluate(SMALL) == [], path
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
