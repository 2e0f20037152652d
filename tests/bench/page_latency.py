"""How fast the review page answers: stepping, first frame, a large session, many clips dropped, a correction.

Run from a checkout with .venv/bin/python tests/bench/page_latency.py [--quick]; needs Chromium. Prints each
figure beside its goal, and exits with status 1 where one is missed.
"""

import argparse
import os
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
from playwright.sync_api import Page, sync_playwright
from sqlalchemy import insert, update

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from release.orientation.result import JOINT_ANGLES  # noqa: E402
from release.record import schema as t  # noqa: E402
from release.record.read import measurement  # noqa: E402
from release.record.write import session_for  # noqa: E402
from release.record.write_open import Logbook, new_logbook, writing  # noqa: E402

SAMPLE = ROOT / "sample_clips" / "throw_03.mp4"
CHROMIUM = "/usr/bin/chromium"
STEP_MS, FIRST_S, LARGE_S, ANSWER_MS, MEMORY_MB, CORRECTED_S = 50.0, 1.0, 1.0, 200.0, 500.0, 1.0
DROPPED_BYTES = 50 << 20


@dataclass(frozen=True, kw_only=True)
class Found:
    """One line of the table."""

    figure: str
    goal: float
    value: float
    unit: str

    @property
    def met(self) -> bool:
        return self.value <= self.goal


@dataclass(frozen=True, kw_only=True)
class Served:
    """A page that really listens, as `release review` starts it."""

    address: str
    token: str
    pid: int
    client: httpx.Client

    def peak_mb(self) -> float:
        """The largest memory of the page's own process so far (Linux)."""
        status = Path(f"/proc/{self.pid}/status").read_text(encoding="utf-8")
        found = re.search(r"VmHWM:\s+(\d+) kB", status)
        assert found is not None
        return int(found[1]) / 1024


@contextmanager
def served(logbook: Path, port: int) -> Iterator[Served]:
    command = [sys.executable, "-m", "release", "review", str(logbook), "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    assert process.stdout is not None
    token = process.stdout.readline().strip().rsplit("token=", 1)[1]
    address = f"http://127.0.0.1:{port}"
    try:
        with httpx.Client(base_url=address, headers={"Origin": address}, timeout=60) as client:
            for _ in range(300):
                try:
                    client.post("/login", data={"token": token, "who": "bench"})
                    break
                except httpx.ConnectError:
                    time.sleep(0.1)
            yield Served(address=address, token=token, pid=process.pid, client=client)
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(60)


def take_in(page: Served, session: str, content: bytes) -> str:
    answer = page.client.put(f"/s/{session}/drop?kind=clip", content=content)
    return answer.raise_for_status().json()["sha256"]


def wait_measured(page: Served, sha256: str) -> None:
    while True:
        state = page.client.get(f"/clip/{sha256}/state").json()
        if state["state"] != "waiting" and not state["waiting"]:
            return
        time.sleep(0.02)


def large_session(logbook: Logbook, like: str, throws: int) -> str:
    """A session of many throws, each with a clip measured as the sample clip was."""
    session = session_for(logbook, "large")
    found = measurement(logbook, like)
    assert found is not None
    clips, sheet, measured, releases, figures, links = [], [], [], [], [], []
    own = {column.name for column in t.measurements.columns}
    for i in range(throws):
        sha256, key = uuid.uuid4().hex * 2, uuid.uuid4().hex * 2
        clip = {"sha256": sha256, "session": session, "name": f"throw_{i}.mp4", "ext": ".mp4", "bytes": 1}
        clip |= {"camera": "", "taken_in": f"2026-05-14T10:{i:06d}", "state": "measured"}
        clips.append(clip)
        sheet.append({"session": session, "throw": i + 1, "cue": f"cue {i % 4}", "pitch": "slider"})
        row = {name: value for name, value in found.items() if name in own}
        measured.append({**row, "measurement": key, "clip": sha256})
        releases.append({**found["release"], "measurement": key})
        figures += [{**found["figures"][name], "measurement": key} for name in JOINT_ANGLES]
        links.append({"session": session, "row": i, "clip": sha256, "throw": i + 1, "state": "linked"})
        picture = logbook.frames / f"{key}.jpg"
        picture.hardlink_to(logbook.frames / f"{found['measurement']}.jpg")
    with writing(logbook) as connection:
        tables = (t.clips, t.throws, t.measurements, t.releases, t.orientations, t.links)
        for table, rows in zip(tables, (clips, sheet, measured, releases, figures, links), strict=True):
            connection.execute(insert(table), rows)
        for row in measured:
            one = t.clips.c.sha256 == row["clip"]
            connection.execute(update(t.clips).where(one).values(measurement=row["measurement"]))
    return session


def log_in(tab: Page, page: Served) -> None:
    tab.goto(f"{page.address}/login?token={page.token}")
    tab.fill("[name=who]", "bench")
    tab.click("form button")
    tab.wait_for_selector("text=Sessions")


def first_frame_s(tab: Page, page: Served, session: str, sha256: str) -> float:
    tab.goto(f"{page.address}/s/{session}/review/{sha256}")
    tab.wait_for_selector("#review[data-first-ms]")
    return float(tab.get_attribute("#review", "data-first-ms") or "nan") / 1000


STEPPING = """async (steps) => {
  const painted = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  const times = [];
  for (let i = 0; i < steps; i += 1) {
    const began = performance.now();
    const key = i % 40 < 20 ? 'ArrowRight' : 'ArrowLeft';
    document.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    await painted();
    times.push(performance.now() - began);
  }
  return times;
}"""


def step_p95_ms(tab: Page, steps: int) -> float:
    """From the key to the frame after its drawing, in a page whose frames have come."""
    tab.wait_for_selector("#review[data-loaded]", timeout=60_000)
    tab.wait_for_selector("#review[data-arm]", timeout=60_000)
    times = tab.evaluate(STEPPING, steps)
    return statistics.quantiles(times, n=20)[-1]


def large_page_s(tab: Page, page: Served, session: str) -> float:
    """From asking for the page until it is there and answers to keys."""
    tab.goto(f"{page.address}/s/{session}", wait_until="domcontentloaded")
    return tab.evaluate("performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd") / 1000


def corrected_s(page: Served, session: str, sha256: str, times: int) -> float:
    """From a pinned landmark to the page with the new angles; the middle of several."""
    page.client.get(f"/clip/{sha256}/arm")
    arm = page.client.get(f"/clip/{sha256}/arm").json()["frames"]
    frame = sorted(arm, key=int)[len(arm) // 2]
    took = []
    for i in range(times):
        x, y = arm[frame]["points"]["wrist"]
        body = {
            "fact": uuid.uuid4().hex,
            "frame_index": int(frame),
            "point": "wrist",
            "x_px": x + i,
            "y_px": y,
        }
        began = time.perf_counter()
        page.client.post(f"/clip/{sha256}/landmark", json=body).raise_for_status()
        wait_measured(page, sha256)
        page.client.get(f"/s/{session}/review/{sha256}").raise_for_status()
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def padded(content: bytes, size: int) -> bytes:
    """The clip with a free box of random bytes behind it (ISO/IEC 14496-12), so that each is another file."""
    box = size - len(content)
    return content + box.to_bytes(4, "big") + b"free" + os.urandom(box - 8)


def dropped(tab: Page, page: Served, session: str, folder: Path, count: int) -> tuple[float, float]:
    """Clips dropped at once in the browser: the slowest answer of the page meanwhile, and its memory."""
    files = []
    for i in range(count):
        files.append(folder / f"large_{i}.mp4")
        files[-1].write_bytes(padded(SAMPLE.read_bytes(), DROPPED_BYTES))
    tab.goto(f"{page.address}/s/{session}")
    answers: list[float] = []
    stop = threading.Event()

    def keep_asking() -> None:
        with httpx.Client(base_url=page.address, cookies=page.client.cookies, timeout=60) as asking:
            while not stop.is_set():
                for path in (f"/s/{session}", f"/s/{session}/progress", "/"):
                    began = time.perf_counter()
                    asking.get(path).raise_for_status()
                    answers.append(1000 * (time.perf_counter() - began))
                stop.wait(0.1)

    thread = threading.Thread(target=keep_asking)
    thread.start()
    tab.set_input_files("#pick-clip", files)
    while len(page.client.get(f"/s/{session}/progress").json()["clips"]) < count:
        time.sleep(0.2)
    stop.set()
    thread.join()
    return statistics.quantiles(answers, n=20)[-1], page.peak_mb()


def measured_figures(folder: Path, quick: bool) -> list[Found]:
    logbook = new_logbook(folder / "logbook")
    session, many = session_for(logbook, "small"), session_for(logbook, "dropped")
    with served(logbook.folder, 18765) as page, sync_playwright() as api:
        browser = api.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": 1366, "height": 768})
        log_in(tab, page)
        began = time.perf_counter()
        sha256 = take_in(page, session, SAMPLE.read_bytes())
        wait_measured(page, sha256)
        print(f"one clip, dropped to measured: {time.perf_counter() - began:.1f} s (no goal set)", flush=True)
        corrected = corrected_s(page, session, sha256, 3 if quick else 9)
        firsts = [first_frame_s(tab, page, session, sha256) for _ in range(2 if quick else 5)]
        step = step_p95_ms(tab, 60 if quick else 400)
        throws = large_session(logbook, sha256, 1000)
        large = [large_page_s(tab, page, throws) for _ in range(2 if quick else 5)]
        count = 4 if quick else 20
        answer, memory = dropped(tab, page, many, folder, count)
        browser.close()
    clips = f"{count} clips of 50 MB dropped at once"
    return [
        Found(figure="frame step, 95th percentile", goal=STEP_MS, value=step, unit="ms"),
        Found(
            figure="first frame of a reviewed clip", goal=FIRST_S, value=statistics.median(firsts), unit="s"
        ),
        Found(
            figure="page of 1,000 throws, to usable", goal=LARGE_S, value=statistics.median(large), unit="s"
        ),
        Found(figure=f"{clips}: answers, 95th percentile", goal=ANSWER_MS, value=answer, unit="ms"),
        Found(figure=f"{clips}: memory of the page", goal=MEMORY_MB, value=memory, unit="MB"),
        Found(figure="dragged landmark to new angles", goal=CORRECTED_S, value=corrected, unit="s"),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer steps and clips; under a minute")
    quick = parser.parse_args().quick
    with tempfile.TemporaryDirectory() as folder:
        found = measured_figures(Path(folder), quick)
    print(f"{'figure':62s}{'goal':>12s}{'result':>12s}")
    for one in found:
        result = f"{one.value:.2f}" if one.unit == "s" else f"{one.value:.0f}"
        missed = "" if one.met else "  MISSED"
        print(f"{one.figure:62s}{one.goal:>9g} {one.unit:3s}{result:>9s} {one.unit:3s}{missed}")
    met = sum(one.met for one in found)
    print(f"{met} of {len(found)} goals met")
    return 0 if met == len(found) else 1


if __name__ == "__main__":
    sys.exit(main())
