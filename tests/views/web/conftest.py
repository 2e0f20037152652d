"""The browser of the page's tests: Debian's Chromium, without a window."""

import pytest

CHROMIUM = "/usr/bin/chromium"


@pytest.fixture(scope="session")
def browser():
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as api:
        # Chromium's sandbox does not run as root in a container.
        started = api.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()
